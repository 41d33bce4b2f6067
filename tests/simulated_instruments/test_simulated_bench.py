"""The way into the simulator: opening, words that are refused, faults, truth, and the instruments reached both ways."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
import pyvisa
import yaml

from autobench.clock import RealClock
from autobench.errors import UsageError
from simulated_instruments.bench import SimulatedBench, list_boards, list_faults
from simulated_instruments.board.circuit_file import circuit_path


def ask(bench: SimulatedBench, name: str, *lines: str) -> str:
    """Say all lines but the last to an instrument, ask the last."""
    instrument = pyvisa.ResourceManager(bench.library).open_resource(
        bench.addresses[name], read_termination="\n", write_termination="\n"
    )
    assert isinstance(instrument, pyvisa.resources.MessageBasedResource)
    try:
        for line in lines[:-1]:
            instrument.write(line)
        return instrument.query(lines[-1])
    finally:
        instrument.close()


def test_boards_and_faults_are_listed() -> None:
    """The board's circuit is known, and its faults and the bench's have places and words."""
    assert "tarnbeck-8" in list_boards()
    places = list_faults("tarnbeck-8")
    board = {place.fault for place in places if place.kind == "board"}
    bench = {place.fault for place in places if place.kind == "bench"}
    assert {"decoupler-short", "inlet-open", "connector-resistance"} <= board
    contacts = {"leads-reversed", "ground-clip-off", "probe-not-touching", "wrong-pin", "relay-stuck"}
    panels = {"probe-factor-wrong", "timebase-too-slow", "trigger-never", "coupling-left-ac", "range-fixed-low"}
    others = {"integration-too-short", "protection-latched", "instrument-unplugged", "long-ground-lead"}
    assert bench == contacts | panels | others | {"limit-too-low", "wrong-board-file"}  # the contract's Q01 to Q16
    assert all(place.words for place in places)
    assert len({(place.fault, place.part) for place in places}) == len(places)


@pytest.mark.parametrize(
    ("board", "options", "faults", "words"),
    [
        ("tarnbek-8", {}, [], "did you mean 'tarnbeck-8'"),
        ("tarnbeck-8", {"vidio": "late"}, [], "did you mean 'video'"),
        ("tarnbeck-8", {"video": "latte"}, [], "did you mean 'late'"),
        ("tarnbeck-8", {}, ["decouple-short"], "did you mean 'decoupler-short'"),
        ("tarnbeck-8", {}, ["inlet-open@SW2"], "did you mean 'SW1'"),
        ("tarnbeck-8", {}, ["zzz"], "Allowed: decoupler-short, chip-supply-short, inlet-open"),
        ("tarnbeck-8", {}, ["inlet-open@"], "Allowed: J1, SW1"),
    ],
)
def test_unknown_words_are_refused_with_what_is_allowed(
    board: str, options: dict[str, str], faults: list[str], words: str
) -> None:
    """Board, option, choice, fault and place: each says what there is and the closest spelling."""
    with pytest.raises(UsageError, match=words):
        SimulatedBench.open(board, options=options, faults=faults)


def test_the_instruments_answer_by_their_addresses_and_move_the_board() -> None:
    """A supply switched on by its own commands powers the board, and the meter behind the relays reads its rail."""
    bench = SimulatedBench.open("tarnbeck-8", seed=3)
    on = ("VOLT 5,(@1)", "CURR 1.2,(@1)", "OUTP ON,(@1)", "*OPC?")
    assert ask(bench, "supply", *on).strip().lstrip("+") == "1"
    bench.clock.sleep(5.0)
    ask(bench, "relays", "ROUT:CLOS (@101,202)", "*OPC?")
    volts = float(ask(bench, "meter", "MEAS:VOLT:DC?"))
    truth = bench.truth()
    assert volts == pytest.approx(truth.between("J1.1", "J1.2"), abs=0.002)
    amps = float(ask(bench, "supply", "MEAS:CURR? (@1)"))
    assert amps == pytest.approx(truth.outputs[1].amps, abs=0.012)
    assert truth.any_on
    assert truth.state.running_since is not None
    assert "ALDER STREET" in ask(bench, "meter", "*IDN?")


def test_an_unplugged_instrument_is_silent_and_an_output_stays_as_it_is() -> None:
    """A fault unplugs from the start (the meter, if none is named); `unplug` does it in the middle."""
    assert SimulatedBench.open("tarnbeck-8", faults=["instrument-unplugged"]).devices["meter"].silent
    assert SimulatedBench.open("tarnbeck-8", faults=["instrument-unplugged@relays"]).devices["relays"].silent
    bench = SimulatedBench.open("tarnbeck-8")
    ask(bench, "supply", "VOLT 5,(@1)", "CURR 1.2,(@1)", "OUTP ON,(@1)", "*OPC?")
    bench.clock.sleep(1.0)
    bench.unplug("supply")
    with pytest.raises(pyvisa.errors.VisaIOError):
        ask(bench, "supply", "OUTP OFF,(@1)", "*OPC?")
    bench.clock.sleep(1.0)
    assert bench.truth().outputs[1].on
    assert bench.truth().outputs[1].amps > 0.5
    with pytest.raises(UsageError, match="did you mean 'supply'"):
        bench.unplug("suply")


def test_without_a_place_the_seed_picks_one() -> None:
    """The same seed breaks the same part, and different seeds different ones."""
    worst = []
    for seed in (1, 1, 2, 3, 4, 5):
        bench = SimulatedBench.open("tarnbeck-8", faults=["decoupler-short"], seed=seed)
        worst.append(next(iter(bench.world.board.assembly.shorts)))
    assert worst[0] == worst[1]
    assert len(set(worst)) > 2


def test_a_relay_fault_is_stuck_one_way_or_the_other() -> None:
    """Over some seeds the named relay is found stuck open and welded shut."""
    damages = [
        SimulatedBench.open("tarnbeck-8", faults=["relay-stuck@106"], seed=seed).world.damage for seed in range(8)
    ]
    assert any(found.stuck_open == {106} for found in damages)
    assert any(found.stuck_closed == {106} for found in damages)


def test_a_circuit_can_be_given_by_its_file(tmp_path: Path) -> None:
    """A copy with a hungrier chip draws more."""
    path = tmp_path / "other.yaml"
    text = circuit_path("tarnbeck-8").read_text(encoding="utf-8")
    path.write_text(text.replace("late: {U2: 128 mA}", "late: {U2: 428 mA}"), encoding="utf-8")
    amps = []
    for circuit in (None, path):
        bench = SimulatedBench.open("tarnbeck-8", circuit=circuit)
        ask(bench, "supply", "VOLT 5,(@1)", "CURR 2,(@1)", "OUTP ON,(@1)", "*OPC?")
        bench.clock.sleep(5.0)
        amps.append(bench.truth().outputs[1].amps)
    assert amps[1] - amps[0] == pytest.approx(0.27, abs=0.03)


def test_two_benches_with_one_seed_agree_to_the_last_digit() -> None:
    """Instruments and board together give the same readings for the same seed, and others for another."""
    found = []
    for seed in (4, 4, 5):
        bench = SimulatedBench.open("tarnbeck-8", seed=seed)
        ask(bench, "supply", "VOLT 5,(@1)", "CURR 1.2,(@1)", "OUTP ON,(@1)", "*OPC?")
        ask(bench, "relays", "ROUT:CLOS (@106,207)", "*OPC?")
        bench.clock.sleep(2.0)
        found.append((ask(bench, "meter", "MEAS:VOLT:DC?"), ask(bench, "supply", "MEAS:CURR? (@1)")))
    assert found[0] == found[1]
    assert found[0] != found[2]


def test_instruments_are_served_on_loopback_and_stop_being_served() -> None:
    """Each instrument answers on a port of its own until the bench is closed."""
    import socket

    with SimulatedBench.open("tarnbeck-8", clock=RealClock()) as bench:
        addresses = bench.serve_sockets()
        assert addresses.keys() == {"supply", "meter", "relays", "scope"}
        assert bench.serve_sockets() == addresses
        for address in addresses.values():
            _, host, port, kind = address.split("::")
            assert (host, kind) == ("127.0.0.1", "SOCKET")
            with socket.create_connection((host, int(port)), timeout=5.0) as client:
                client.sendall(b"*IDN?\n")
                assert b"ALDER STREET" in client.recv(200)
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection((host, int(port)), timeout=1.0)


def test_importing_the_way_in_is_cheap() -> None:
    """Neither the VISA library nor the arithmetic is imported before a bench is opened, not even to list faults."""
    code = (
        "import sys; from simulated_instruments.bench import list_faults; list_faults('tarnbeck-8');"
        "print([name for name in ('numpy', 'pyvisa') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_circuit_and_wiring_agree_with_the_files_the_program_reads() -> None:
    """Points, positions, slots and addresses of the simulator are those of the shipped bench and board files."""
    sequences = Path(__file__).parents[2] / "sequences"
    board = yaml.safe_load((sequences / "boards" / "tarnbeck-8.yaml").read_text(encoding="utf-8"))
    written = yaml.safe_load((sequences / "benches" / "simulated.yaml").read_text(encoding="utf-8"))
    bench = SimulatedBench.open("tarnbeck-8")
    wiring, circuit = bench.world.wiring, bench.world.board.circuit
    assert wiring.fixtures["tarnbeck-8"] == written["fixtures"]["tarnbeck-8"]
    assert (wiring.routes.high, wiring.routes.low, *wiring.routes.scope) == tuple(written["routes"]["slots"].values())
    assert bench.addresses == {name: entry["address"] for name, entry in written["instruments"].items()}
    for rail, entry in board["rails"].items():
        assert rail in circuit.rails
        points = [place[end] for place in entry["places"].values() for end in ("point", "ground")]
        assert set(points) <= circuit.points().keys()
    for name, option in board["options"].items():
        assert circuit.options[name].choices.keys() == option["choices"].keys()
        assert circuit.options[name].default == option["default"]
