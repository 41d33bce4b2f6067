"""The wirings that come with the simulator, and files that are wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

from autobench.errors import FileError, UsageError
from simulated_instruments.bench import SimulatedBench
from simulated_instruments.benches.wiring import FOLDER, list_wirings, read_wiring


def test_three_benches_share_supply_and_leads_and_differ_in_who_moves_things() -> None:
    """Relays, a hand for the probes, a hand for the supply too: outputs, leads and addresses are the same."""
    names = ["counter-and-scope", "fixture", "hand", "hand-supply", "network", "small", "template-block"]
    assert list_wirings() == names
    fixture, hand, knobs = (read_wiring(name) for name in ("fixture", "hand", "hand-supply"))
    assert read_wiring() == fixture
    assert set(hand.supply.feeds) < set(fixture.supply.feeds)  # by hand only the boards of two positive rails
    assert knobs.supply.feeds == hand.supply.feeds
    assert (hand.routes, knobs.routes) == (None, None)
    assert hand.instruments == {name: fixture.instruments[name] for name in ("supply", "meter", "scope")}
    assert knobs.instruments.keys() == {"meter", "scope"}
    assert knobs.supply.instrument is None
    assert hand.hand is not None
    assert (hand.path_ohms, hand.hand.reach, hand.hand.tips) == (0.05, 1.2, ("meter", "scope 1", "scope 2", "scope 3"))
    assert fixture.path_ohms == 0.3
    assert fixture.hand is not None
    assert fixture.hand.tips == ("meter", "scope 4")  # beside the plate
    assert hand.channels("tarnbeck-8") == []


@pytest.mark.parametrize("name", list_wirings())
def test_the_name_in_the_file_is_that_of_the_file(name: str) -> None:
    """A wiring is found under the name it gives itself."""
    assert read_wiring(name).name == name


def test_instruments_and_person_are_those_of_the_wiring() -> None:
    """No relays where a hand holds the probes alone, no supply where it turns knobs, somebody at each bench."""
    for wiring, names in (("hand", {"supply", "meter", "scope"}), ("hand-supply", {"meter", "scope"})):
        bench = SimulatedBench.open("tarnbeck-8", wiring=wiring)
        assert bench.devices.keys() == bench.addresses.keys() == names
        assert bench.person is not None
    assert SimulatedBench.open("tarnbeck-8").person is not None


def test_two_supplies_feed_a_rail_each() -> None:
    """The only output of each supply is the one its leads are on; the plates of one bench serve another."""
    small, network = read_wiring("small"), read_wiring("network")
    assert small.supply.instruments == network.supply.instruments == {"supply": 1, "supply-2": 2}
    assert small.supply.instrument == "supply"
    assert [small.instruments[name].device for name in small.instruments] == ["PS-5", "PS-1", "M-2", "O-1b"]
    assert [network.instruments[name].device for name in network.instruments] == ["PS-1", "PS-1", "M-1", "W-1", "O-1a"]
    assert network.fixtures == read_wiring().fixtures
    bench = SimulatedBench.open("tarnbeck-8", wiring="small")
    for message in (b"VOLT 5", b"CURR 1", b"OUTP ON"):
        bench.devices["supply-2"].receive(message, True)
        bench.clock.sleep(0.1)
    assert [output.on for output in bench.truth().outputs.values()] == [False, True]


def test_an_unknown_wiring_is_refused_with_what_there_is() -> None:
    """The closest spelling and all names."""
    with pytest.raises(UsageError, match=r"did you mean 'hand'.*fixture, hand, hand-supply, network, small"):
        SimulatedBench.open("tarnbeck-8", wiring="hands")


@pytest.mark.parametrize("section", ["hand", "routes"])
def test_a_wiring_has_relays_or_a_hand(tmp_path: Path, section: str) -> None:
    """Neither of both is refused."""
    name = {"hand": "hand", "routes": "fixture"}[section]
    text = (FOLDER / f"{name}.yaml").read_text(encoding="utf-8")
    neither = tmp_path / "neither.yaml"
    neither.write_text(text[: text.index(f"\n{section}:")], encoding="utf-8")
    with pytest.raises(FileError, match="'routes', 'hand' or both"):
        read_wiring(neither)
