"""Opening the instruments of a bench: who answers, whether it is the one the bench file means, and its driver's own."""

from __future__ import annotations

from pathlib import Path

import pytest

from autobench.documents.bench import Bench
from autobench.documents.places import find_bench, find_driver
from autobench.documents.reading import read
from autobench.errors import BenchError, LinkError
from autobench.instruments.exchange import Exchange
from autobench.instruments.opened import Opened, Opener
from autobench.instruments.supply import Supply
from simulated_instruments.clock import SimulatedClock
from simulated_instruments.connections.in_process import InProcessLibrary
from tests.drivers.meetings import DEVICES, Loads, driver_named, meet

ADDRESS = "GPIB0::5::INSTR"


def opened(folder: Path, device_name: str = "ps-3", **lines: str) -> tuple[Opened, list[Exchange], Loads]:
    """The supply of the shipped bench file, with these lines in its entry, over a device of that dialect."""
    text = find_bench("simulated").read_text(encoding="utf-8")
    extra = "".join(f"\n    {key}: {value}" for key, value in lines.items())
    file = folder / "bench.yaml"
    file.write_text(text.replace(f"address: {ADDRESS}", f"address: {ADDRESS}{extra}"), encoding="utf-8")
    bench = read(file, Bench)
    clock, loads = SimulatedClock(), Loads({1: 10.0, 2: 10.0, 3: 10.0})
    library = InProcessLibrary({ADDRESS: DEVICES[device_name]("supply", clock, loads, seed=5)}, clock)
    exchanges: list[Exchange] = []
    opener = Opener(library, clock, exchanges.append, lambda: None)
    return opener.open(bench, {"supply": driver_named("ps-3")}, only_supplies=True), exchanges, loads


def test_the_pinned_serial_number_is_the_one_that_answers(tmp_path: Path) -> None:
    """With the right number the supply is opened; its identity is kept."""
    first, _, _ = opened(tmp_path)
    number = first.identities["supply"].split(",")[2]
    second, exchanges, _ = opened(tmp_path, serial=number)
    assert second.supplies["supply"].outputs == (1, 2, 3)
    assert exchanges[0].sent == b"*IDN?"


def test_another_serial_number_is_refused(tmp_path: Path) -> None:
    """Another instrument of the same kind at the address is not the one that was calibrated: nothing is sent to it but
    the questions who it is and what its errors are."""
    with pytest.raises(LinkError, match=r"serial number 4711 is wanted, but 'ALDER STREET,PS-3,\d+,1\.0' answers"):
        opened(tmp_path, serial="4711")


def test_another_dialect_is_refused_at_the_latest_when_it_is_made_quiet(tmp_path: Path) -> None:
    """A supply of another family refuses the driver's own words for OFF."""
    bench, _, loads = opened(tmp_path, "ps-1")
    with pytest.raises(BenchError, match="reported -108"):
        bench.supplies["supply"].quiet()
    assert not any(setting.on for setting in loads.settings.values())


def test_an_output_wired_the_other_way_round_has_its_sign_turned() -> None:
    """For a negative rail from an output that counts up, −5 V are asked for here and 5 V of the instrument."""
    loads = Loads({1: 10.0, 2: 10.0, 3: 10.0})
    spoken = meet("ps-3", DEVICES["ps-3"]("supply", SimulatedClock(), loads, seed=5))
    supply = Supply(spoken.dialect, outputs=(2,), turned=(2,))
    supply.quiet()
    supply.set_volts(2, -5.0)
    supply.set_trip(2, -5.5)
    supply.set_amps(2, 1.0)
    assert (supply.set_volts_back(2), supply.set_trip_back(2)) == (-5.0, -5.5)
    supply.on(2)
    spoken.clock.sleep(1.0)
    assert loads.point(2).volts == 5.0
    assert supply.volts(2).value == pytest.approx(-5.0, abs=0.02)
    assert supply.amps(2).value == pytest.approx(0.5, abs=0.01)
    assert "VOLT 5.000,(@2)" in spoken.said


def test_an_output_that_counts_down_keeps_its_sign() -> None:
    """Where the instrument itself takes signed volts, nothing is turned."""
    loads = Loads({1: 10.0, 2: 10.0, 3: 10.0})
    spoken = meet("ps-2", DEVICES["ps-2"]("supply", SimulatedClock(), loads, seed=5))
    supply = Supply(spoken.dialect, outputs=(3,), turned=(3,))
    supply.quiet()
    supply.set_volts(3, -5.0)
    assert "INST:NSEL 3;:VOLT -5.000" in spoken.said
    assert supply.set_volts_back(3) == -5.0


def test_the_shipped_drivers_are_found_by_name(tmp_path: Path) -> None:
    """Every driver a bench file may name is there."""
    for name in DEVICES:
        assert find_driver(name, tmp_path).stem == name
