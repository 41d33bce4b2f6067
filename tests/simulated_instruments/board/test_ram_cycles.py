"""The RAM slot by slot: strobes, rows and columns, refresh, the video between (parts' data sheets, from memory)."""

from __future__ import annotations

import numpy as np
import pytest

from simulated_instruments.board.instructions import FETCH, READ, WRITE
from simulated_instruments.board.levels import HIGH, LOW, UNDRIVEN
from simulated_instruments.board.machine_cycles import Cycles, loop
from simulated_instruments.board.ram_cycles import Asked, RamSlots, ram_slots
from simulated_instruments.board.signals import RamPlan

CPU_REFRESHES = RamPlan(lines=8, slot=1.0, every=8, at=0, refresh="cpu", every_phase=False)
# A fetch from ROM (4 T-states), a read (3) and a write (3) of RAM: 10 T-states, an opcode each 10.
TURN = [(FETCH, 4, 0x0100, 0x00), (READ, 3, 0x8155, 0xA5), (WRITE, 3, 0x4002, 0x3C)]


def stream(times: int = 100) -> Cycles:
    """The turn so many times over."""
    return loop(TURN * times)


def slots(*, video: bool = False, refreshed: bool = True, plan: RamPlan = CPU_REFRESHES) -> RamSlots:
    """What it makes of the RAM."""
    cycles = stream()
    chosen = cycles.in_memory & (cycles.addresses >= 0x4000)
    return ram_slots(cycles, cycles.addresses, Asked(chosen, True, refreshed, video), plan, 1.0)


def falls(edges: tuple[np.ndarray, np.ndarray]) -> int:  # type: ignore[type-arg]
    """How often a line falls."""
    return int((edges[1] == LOW).sum())


def test_ras_comes_with_every_access_and_every_refresh_cas_with_accesses_we_with_writes() -> None:
    """RAS: read, write and refresh of each turn; CAS: read and write; WE: the write."""
    found = slots()
    assert [falls(found.strobe(name)) for name in ("RAS", "CAS", "WE")] == [300, 200, 100]


def test_without_its_refresh_only_accesses_are_left() -> None:
    """Whose refresh it is shows in the count of RAS alone."""
    assert falls(slots(refreshed=False).strobe("RAS")) == 200


def test_the_video_reads_once_in_eight_clocks_and_never_in_a_slot_of_the_cpu() -> None:
    """1000 T-states hold 124 reads of the video; none shares a slot, so no strobe is longer or shorter than another."""
    alone, both = slots(), slots(video=True)
    added = falls(both.strobe("CAS")) - falls(alone.strobe("CAS"))
    assert added == pytest.approx(1000 / 8, abs=2)
    edges, codes = both.strobe("RAS")
    widths = np.diff(edges)[codes[:-1] == LOW]
    assert widths.min() == pytest.approx(widths.max())


def test_row_first_then_column() -> None:
    """Address 8155 hex: row 55, column 81, each bit on its own line."""
    found = slots(refreshed=False)
    read = found.at[found.kinds == 0][0]
    for bit in range(8):
        edges, codes = found.address_line(bit)
        level = dict(zip(np.round(edges - read, 3).tolist(), codes.tolist(), strict=True))
        assert level[0.0] == (HIGH if 0x55 >> bit & 1 else LOW)
        assert level[0.22] == (HIGH if 0x81 >> bit & 1 else LOW)


def test_data_is_driven_only_while_cas_is_low_in_a_read() -> None:
    """A5 hex at the outputs in the read; in an early write and in a refresh nobody drives them."""
    edges, codes = slots().data_line(0)
    assert set(codes.tolist()) == {HIGH, UNDRIVEN}
    assert (codes == HIGH).sum() == 100
    assert set(slots().data_line(1)[1].tolist()) == {LOW, UNDRIVEN}
    assert np.diff(edges)[codes[:-1] == HIGH].max() < 0.5


def test_strobes_of_each_phase_come_whether_or_not_the_memory_is_meant() -> None:
    """Where the video has a phase of its own, RAS comes twice a clock, CAS with the video and with what is meant."""
    plan = RamPlan(lines=8, slot=0.5, every=1, at=0, refresh="video", every_phase=True)
    cycles = loop([(READ, 1, 0x0100, 0), (READ, 1, 0x8000, 0)] * 50)
    asked = Asked(cycles.addresses >= 0x4000, True, False, True)
    found = ram_slots(cycles, cycles.addresses, asked, plan, 1.0)
    assert falls(found.strobe("RAS")) == pytest.approx(200, abs=6)
    assert falls(found.strobe("CAS")) == pytest.approx(150, abs=6)
