"""Strobes of the class R CPU: exact rates and ratios of its fingerprints, with and without waits."""

from __future__ import annotations

import numpy as np
import pytest

from simulated_instruments.board.bus import select
from simulated_instruments.board.cpu_class_r import all_ones, all_zeros, halted
from simulated_instruments.board.firmware import CONTROLLER_PORT, PORTS
from simulated_instruments.board.instructions import ACKNOWLEDGE, FETCH, IN, OUT, READ, WRITE
from simulated_instruments.board.machine_cycles import Cycles, loop
from simulated_instruments.board.memory import ROM_BYTES, SPACE, Memory

MIXED = [(FETCH, 4, 0, 0), (READ, 3, 1, 0), (FETCH, 6, 2, 0), (WRITE, 3, 3, 0), (FETCH, 4, 4, 0), (OUT, 4, 5, 0),
         (FETCH, 5, 6, 0), (IN, 4, 7, 0), (ACKNOWLEDGE, 7, 8, 0), (WRITE, 3, 9, 0)]  # fmt: skip


def falls(cycles: Cycles, strobe: str) -> int:
    """Low pulses of an output in one round of the stream."""
    _, codes = cycles.strobe(strobe)
    return int(np.count_nonzero((codes == 0) & (np.roll(codes, 1) == 1)))


def rate(cycles: Cycles, strobe: str) -> float:
    """Low pulses a T-state."""
    return falls(cycles, strobe) / cycles.period


def widths(cycles: Cycles, strobe: str) -> list[float]:
    """Lengths of the low pulses, in T-states."""
    edges, codes = cycles.strobe(strobe)
    lengths = np.diff(np.append(edges, edges[0] + cycles.period))
    return sorted(set(np.round(lengths[codes == 0], 6).tolist()))


def test_executing_all_ones() -> None:
    """A bus that reads FF: fetches at f/11, two writes and two refreshed memory pulses for each."""
    cycles = all_ones().stream
    assert rate(cycles, "FETCH") == pytest.approx(1.0 / 11.0)  # from memory: RST takes 11 T-states
    assert falls(cycles, "WR") == 2 * falls(cycles, "FETCH")  # from memory: its two pushes
    assert falls(cycles, "REFRESH") == falls(cycles, "FETCH")  # from memory: refresh is the fetch's second half
    assert falls(cycles, "MEMREQ") == 4 * falls(cycles, "FETCH")  # from memory
    assert falls(cycles, "RD") == falls(cycles, "FETCH")  # from memory


def test_executing_all_zeros() -> None:
    """A bus that reads 00: fetches at f/4, memory pulses at f/2, no writes."""
    cycles = all_zeros().stream
    assert rate(cycles, "FETCH") == pytest.approx(1.0 / 4.0)  # from memory: NOP takes 4 T-states
    assert rate(cycles, "MEMREQ") == pytest.approx(1.0 / 2.0)  # from memory
    assert rate(cycles, "REFRESH") == pytest.approx(1.0 / 4.0)  # from memory
    assert falls(cycles, "WR") == 0


def test_halted() -> None:
    """A halted CPU fetches and refreshes at f/4, with HALT low and no writes."""
    cycles = halted()
    assert rate(cycles, "FETCH") == pytest.approx(1.0 / 4.0)  # from memory
    assert falls(cycles, "REFRESH") == falls(cycles, "FETCH")
    assert falls(cycles, "WR") == 0
    assert set(cycles.strobe("HALT")[1].tolist()) == {0}
    assert set(cycles.address_line(6)[1].tolist()) == {0, 1}  # the refresh address counts on, from memory
    assert set(cycles.address_line(12)[1].tolist()) == {0}


@pytest.mark.parametrize("aligned", [0, 4])
def test_waits_change_rates_and_no_ratio(aligned: int) -> None:
    """Aligned to 4 T-states the all-ones loop takes 16 of them instead of 11, with the same ratios."""
    cycles = all_ones(aligned).stream
    instructions = cycles.kinds.size / 3
    assert cycles.period / instructions == (16.0 if aligned else 11.0)  # from memory: 5, 3 and 3 become 8, 4 and 4
    assert falls(cycles, "WR") == 2 * falls(cycles, "FETCH")
    assert falls(cycles, "REFRESH") == falls(cycles, "FETCH")
    zeros = all_zeros(aligned).stream
    assert zeros.period / zeros.kinds.size == 4.0  # a NOP needs no waits
    assert set(zeros.address_line(9)[1].tolist()) == {0, 1}  # the addresses count up
    assert set(cycles.address_line(9)[1].tolist()) == {0, 1}  # the stack goes down through memory


@pytest.mark.parametrize("aligned", [0, 4])
def test_every_fetch_has_its_refresh_whatever_runs(aligned: int) -> None:
    """Fetches, acknowledges included, and refreshes are as many; reads and writes show once each."""
    cycles = loop(MIXED, aligned=aligned)
    assert falls(cycles, "FETCH") == falls(cycles, "REFRESH") == 5
    assert falls(cycles, "MEMREQ") == 2 * 4 + 1 + 3
    assert (falls(cycles, "RD"), falls(cycles, "WR"), falls(cycles, "IORQ")) == (6, 3, 3)


def test_pulses_are_as_wide_as_the_data_sheet_draws_them() -> None:
    """Fetch strobe 2 T, refresh 2 T, read in a fetch 1.5 T and of data 2 T, write 1 T, refresh's memory pulse 1 T."""
    cycles = loop([(FETCH, 4, 0, 0), (READ, 3, 1, 0), (WRITE, 3, 2, 0)])
    assert widths(cycles, "FETCH") == [2.0]  # from memory
    assert widths(cycles, "REFRESH") == [2.0]  # from memory
    assert widths(cycles, "RD") == [1.5, 2.0]  # from memory
    assert widths(cycles, "WR") == [1.0]  # from memory
    assert widths(cycles, "MEMREQ") == [1.0, 1.5, 2.0]  # from memory


def test_waits_stand_between_t2_and_t3() -> None:
    """With the cycle before leaving one T-state of its slot, the next has one wait, and its strobe is one T wider."""
    cycles = loop([(FETCH, 4, 0, 0), (WRITE, 3, 1, 0)], aligned=4)
    assert cycles.waits.tolist() == [1.0, 0.0]
    assert widths(cycles, "FETCH") == [3.0]


@pytest.mark.parametrize("strobe", ["FETCH", "MEMREQ", "IORQ", "RD", "WR", "REFRESH"])
@pytest.mark.parametrize("aligned", [0, 4])
def test_edges_lie_within_the_period_and_alternate(strobe: str, aligned: int) -> None:
    """Low and high take turns, in order of time, inside one round."""
    cycles = loop(MIXED, aligned=aligned)
    edges, codes = cycles.strobe(strobe)
    assert edges[0] >= 0.0
    assert edges[-1] < cycles.period
    assert (np.diff(edges) > 0.0).all()
    assert (np.diff(codes) != 0).all()


def test_refresh_addresses_count() -> None:
    """In T3 and T4 of each fetch the lines A0 to A6 show the next refresh address."""
    cycles = loop([(FETCH, 4, 0xFFFF, 0)] * 4)
    edges, codes = cycles.address_line(0)
    at_refresh = [int(codes[np.searchsorted(edges, 4.0 * number + 3.0, side="right") - 1]) for number in range(4)]
    assert at_refresh == [0, 1, 0, 1]


def test_ports_are_selected_by_number_and_not_by_memory() -> None:
    """The controller for writes to its port, the others for either; memory at the same address selects neither."""
    ports = [(OUT, 4, CONTROLLER_PORT, 0), (IN, 4, CONTROLLER_PORT, 0), (OUT, 4, PORTS[0], 0), (IN, 4, PORTS[1], 0)]
    cycles = loop([(FETCH, 4, 0, 0), *ports, (READ, 3, 0xA000, 0), (WRITE, 3, 0xB000 + PORTS[0], 0)])
    memory = Memory(bytes(ROM_BYTES), bytes(SPACE))
    assert [int((select(cycles, name, memory)[1] == 0).sum()) for name in ("CRTCCS", "IOCS")] == [1, 2]
