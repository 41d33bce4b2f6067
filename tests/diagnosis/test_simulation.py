"""Qualitative simulation: a healthy board runs, and faults spread as they do on real boards."""

from __future__ import annotations

from dataclasses import replace

import pytest

from autobench.diagnosis import cpu
from autobench.diagnosis.alphabets import Observable, alphabets
from autobench.diagnosis.board_model import BoardModel, Line
from autobench.diagnosis.candidates import candidates
from autobench.diagnosis.currents import current_ratio
from autobench.diagnosis.effects import HEALTHY, Effect, RailTrouble
from autobench.diagnosis.prediction import Predictor, predicted
from autobench.diagnosis.rests import Rests
from autobench.diagnosis.simulation import Settled, settle


def told(settled: Settled, kind: str, name: str) -> str:
    """One token."""
    return predicted(settled)[Observable(kind, name)]


@pytest.mark.parametrize("board", ["fixed-3", "programmed-3"])
def test_healthy_board_runs(board: str, models: dict[str, BoardModel]) -> None:
    """From power-on a healthy board comes to run its program, with every line as the board file wants it."""
    settled = settle(models[board], HEALTHY)
    assert settled.state == cpu.RUNNING
    assert settled.started
    tokens = predicted(settled)
    for line in models[board].lines.values():
        if line.healthy in ("moving", "high") and not line.start:
            assert tokens[Observable("line", line.net)] == line.healthy
    assert all(token == "right" for each, token in tokens.items() if each.kind == "frequency")
    assert tokens[Observable("line rate", "sync")] == "right"
    assert tokens[Observable("current", "+5V")] == "1.00"


def test_undriven_bus_is_an_all_ones_loop(models: dict[str, BoardModel]) -> None:
    """A ROM that does not answer leaves a CPU that fetches all ones, with two writes on each fetch."""
    settled = settle(models["fixed-3"], Effect(dead=("U3",), dead_level="floating"))
    assert settled.state == cpu.ONES
    assert told(settled, "writes to fetches", "cpu") == "two"
    assert told(settled, "clocks to fetches", "cpu") == "eleven"
    # 3.75 MHz / 11 = 341 kHz lies inside 310 .. 620 kHz, two writes of that outside 5 .. 150 kHz (computed)
    assert told(settled, "line", "FETCH") == "moving"
    assert told(settled, "line", "WR") == "off-rate"
    assert told(settled, "line", "ROMCS") == "either"


def test_waits_blur_rates(models: dict[str, BoardModel]) -> None:
    """Where accesses are stretched no rate of the loop is foretold, the ratio is."""
    settled = settle(models["programmed-3"], Effect(dead=("U3",), dead_level="floating"))
    assert told(settled, "line", "FETCH") == "either"
    assert told(settled, "writes to fetches", "cpu") == "two"


def test_circle_of_rom_and_decoder(models: dict[str, BoardModel]) -> None:
    """A decoder that selects nothing gives the same loop, with the selects still."""
    still = Effect(outputs=((("U6", "ROMCS"), "high"), (("U6", "RAMCS"), "high")))
    settled = settle(models["fixed-3"], still)
    assert settled.state == cpu.ONES
    assert told(settled, "line", "ROMCS") == "high"


def test_unprogrammed_controller_follows_from_the_program(models: dict[str, BoardModel]) -> None:
    """Any fault that keeps the program from starting leaves the controller running wild, and the interrupt away."""
    settled = settle(models["programmed-3"], Effect(dead=("U1",)))
    assert told(settled, "line rate", "sync") == "unprogrammed"
    assert told(settled, "start", "CRTCCS") == "none"
    assert told(settled, "line", "INT") == "high"


def test_fixed_video_needs_no_cpu(models: dict[str, BoardModel]) -> None:
    """With the CPU dead the sync of a board with fixed video is as it was."""
    settled = settle(models["fixed-3"], Effect(dead=("U1",)))
    assert told(settled, "line rate", "sync") == "right"
    assert told(settled, "line", "MEMREQ") == "static"


@pytest.mark.parametrize(
    ("effect", "state"),
    [
        (Effect(dead=("X1",)), cpu.STOPPED),
        (Effect(outputs=((("U7", "RESET"), "low"),)), cpu.HELD),
        (Effect(held=(("WAIT", "low"),)), cpu.WAITING),
        (Effect(held=(("BUSRQ", "low"),)), cpu.RELEASED),
        (Effect(held=tuple((f"D{bit}", "low") for bit in range(8))), cpu.ZEROS),
        (Effect(held=(("D3", "low"),)), cpu.CRASHED),
        (Effect(cut=(("U1", "+5V"),), in_socket=True), cpu.DEAD),
        (Effect(cut=(("U1", "CPUCLK"),), in_socket=True), cpu.STOPPED),
        (Effect(cut=(("U3", "D3"),)), cpu.CRASHED),
        (Effect(dead=("U2",)), cpu.UNINTERRUPTED),
    ],
)
def test_states_of_the_cpu(effect: Effect, state: str, models: dict[str, BoardModel]) -> None:
    """The CPU does what its legs tell it."""
    assert settle(models["fixed-3"], effect).state == state


@pytest.mark.parametrize("board", ["fixed-3", "programmed-3"])
def test_a_healthy_start_and_power_on_lead_to_the_same(board: str, models: dict[str, BoardModel]) -> None:
    """Whatever the fault, the board comes to the same rest from where a healthy one stands as from nothing."""
    model = models[board]
    healthy = settle(model, HEALTHY)
    effects = {effect for candidate in candidates(model) for effect in candidate.effects}
    assert len(effects) > 300
    for effect in effects:
        assert predicted(settle(model, effect, healthy)) == predicted(settle(model, effect))


def test_a_missing_interrupt_may_halt_the_program(models: dict[str, BoardModel]) -> None:
    """A program that waits for the frame halts for ever without it, one that does not runs on; both are foretold."""
    for board, part in (("fixed-3", "U2"), ("programmed-3", "U5")):
        ways = Rests(models[board]).ways(Effect(dead=(part,)))
        assert {settled.state for _, settled in ways} == {cpu.UNINTERRUPTED, cpu.HALTED}
        assert sum(chance for chance, _ in ways) == pytest.approx(1.0)  # axiom of probability
        (halted,) = [settled for _, settled in ways if settled.state == cpu.HALTED]
        assert told(halted, "line", "HALT") == "low"
        assert told(halted, "line", "WR") == "high"
        assert told(halted, "writes to fetches", "cpu") == "zero"
        if board == "programmed-3":
            assert told(halted, "start", "CRTCCS") == "right"
            assert told(halted, "clocks to fetches", "cpu") == "four or stretched"


def test_an_open_select_is_no_halted_cpu(models: dict[str, BoardModel]) -> None:
    """With the select of the controller open its pulses are foretold missing, also where the program halts."""
    effect = Effect(outputs=((("U6", "CRTCCS"), "floating"),))
    for _, settled in Rests(models["programmed-3"]).ways(effect):
        assert told(settled, "start", "CRTCCS") == "none"


def test_predictor_gives_the_rows_of_the_tokens(models: dict[str, BoardModel]) -> None:
    """What is kept between effects changes no row."""
    model, known = models["programmed-3"], alphabets()
    predictor, rests = Predictor(model), Rests(model)
    for effect in (effect for candidate in candidates(model) for effect in candidate.effects):
        for (_, rows, _), (_, settled) in zip(predictor.ways(effect), rests.ways(effect), strict=True):
            expected = {each: known[each.kind].token_numbers[word] for each, word in predicted(settled).items()}
            assert dict(zip(predictor.observables, rows, strict=True)) == expected


def test_probe_sees_its_own_side_of_a_break(models: dict[str, BoardModel]) -> None:
    """A broken track floats at the load and moves at the driver; a socket contact leaves the board's side alone."""
    load = settle(models["fixed-3"], Effect(cut=(("U3", "ROMCS"),)))
    contact = settle(models["fixed-3"], Effect(cut=(("U3", "ROMCS"),), in_socket=True))
    driver = settle(models["fixed-3"], Effect(cut=(("U1", "FETCH"),)))
    assert load.at("U3", "ROMCS") == "floating"
    assert contact.at("U3", "ROMCS") == "moving"
    assert driver.at("U1", "FETCH") == "moving"
    assert driver.at("U19", "FETCH") == "floating"


def test_currents_by_state(models: dict[str, BoardModel]) -> None:
    """Without its clock a board draws markedly less, held in reset a little less (common practice)."""
    board = models["fixed-3"]
    rail = board.rails["+5V"]

    def ratio(effect: Effect) -> float:
        return current_ratio(settle(board, effect), rail)

    assert ratio(HEALTHY) == pytest.approx(1.0)
    assert 0.65 < ratio(Effect(dead=("X1",), dead_draw=1.0)) < 0.85
    assert 0.85 < ratio(Effect(outputs=((("U7", "RESET"), "low"),))) < 0.97
    assert ratio(Effect(rail=RailTrouble("+5V", "open", "SW1"))) == 0.0


def test_break_of_the_inlet_is_located(models: dict[str, BoardModel]) -> None:
    """Volts stand before an open switch and are gone behind it."""
    settled = settle(models["fixed-3"], Effect(rail=RailTrouble("+5V", "open", "SW1")))
    words = [told(settled, "rail", f"+5V {place}") for place in ("inlet", "switch", "cpu", "far")]
    assert words == ["ok", "zero", "zero", "zero"]


@pytest.mark.parametrize("board", ["fixed-3", "programmed-3"])
def test_every_token_has_a_row(board: str, models: dict[str, BoardModel]) -> None:
    """Nothing is predicted that the confusion tables do not know."""
    effects = [HEALTHY, Effect(dead=("U1",)), Effect(dead=("X1",)), Effect(dead=("U3",)), Effect(held=(("D3", "low"),))]
    for effect in effects:
        for observable, token in predicted(settle(models[board], effect)).items():
            assert token in alphabets()[observable.kind].token_numbers


def test_a_lost_refresh_output_takes_the_memory_and_not_the_core(models: dict[str, BoardModel]) -> None:
    """Refresh is half of every fetch: one that is flat at a CPU that fetches is that pin's, and nothing a program
    does; the program goes on until it needs its memory (trade's rule; data sheet of class R, from memory)."""
    ways = next(each for each in candidates(models["fixed-3"]) if each.fault == "cpu-pin-dead").effects
    lost = [way for way in ways if dict(way.outputs).get(("U1", "REFRESH")) == "low"]
    assert {way.later for way in lost} == {cpu.CRASHED, cpu.RUNNING, cpu.HALTED}
    flat = next(way for way in lost if way.later == cpu.CRASHED)
    settled = settle(models["fixed-3"], flat)
    assert told(settled, "line", "REFRESH") == "low"
    astray = settle(models["fixed-3"], Effect(fetched="garbage"))
    row = alphabets()["line"]
    chances = dict(
        zip(row.categories, row.table[row.token_numbers[told(astray, "line", "REFRESH")]].tolist(), strict=True)
    )
    assert chances["low"] < 0.001


def test_a_held_nmi_leaves_the_program_alone(models: dict[str, BoardModel]) -> None:
    """NMI acts by its edge: held low it asks once at most (data sheets of both classes, from memory)."""
    assert settle(models["fixed-3"], Effect(held=(("NMI", "low"),))).state == cpu.RUNNING


def test_a_held_interrupt_storms_once_the_program_allows_it(models: dict[str, BoardModel]) -> None:
    """A reset disables interrupts: the start-up program runs and programs the video before the storm comes (data sheets
    of both classes, from memory)."""
    settled = settle(models["programmed-3"], Effect(held=(("INT", "low"),)))
    assert settled.state == cpu.CRASHED
    assert settled.started
    assert told(settled, "line rate", "sync") == "right"


def test_two_selects_together_make_their_parts_fight(models: dict[str, BoardModel]) -> None:
    """With both selects low for ever ROM and memory drive against each other (trade's rule)."""
    low = Effect(outputs=((("U6", "ROMCS"), "low"), (("U6", "RAMCS"), "low")), fetched="garbage")
    tokens = predicted(settle(models["fixed-3"], low))
    assert all(token == "perhaps" for each, token in tokens.items() if each.kind == "driving")


def test_a_cpu_that_moves_in_reset_does_not_see_it(models: dict[str, BoardModel]) -> None:
    """Only an open reset leg makes the CPU move while the line is asserted; one that is never asserted is a fault of
    the line itself, and a healthy CPU stands still."""
    held = replace(models["fixed-3"], reset_holds="FETCH")
    told_of = {
        "healthy": HEALTHY,
        "open": Effect(cut=(("U1", "RESET"),), in_socket=True),
        "missing": Effect(outputs=(((held.drivers["RESET"][0], "RESET"), "high"),)),
    }
    tokens = {name: told(settle(held, effect), "held", "FETCH") for name, effect in told_of.items()}
    assert tokens == {"healthy": "still", "open": "moving", "missing": "still"}


def test_a_halted_cpu_may_move_its_upper_address_lines(models: dict[str, BoardModel]) -> None:
    """Class R refreshes in the second half of every fetch: outside the ROM's first page its upper lines go to and fro.
    One that a short or a dead pin holds does not."""
    known = models["fixed-3"]
    board = replace(known, lines=dict(known.lines) | {"A12": Line("A12", "U1.2", "address", "moving")})
    assert told(settle(board, Effect(later=cpu.HALTED)), "line", "A12") == "low or moving"
    held = Effect(later=cpu.HALTED, held=(("A12", "low"),))
    assert told(settle(board, held), "line", "A12") == "low"
    pin = Effect(later=cpu.HALTED, outputs=((("U1", "A12"), "low"),))
    assert told(settle(board, pin), "line", "A12") == "low"


def test_a_bridge_may_hide_in_the_shortest_of_loops(models: dict[str, BoardModel]) -> None:
    """Neighbours that touch fight where they should differ; a CPU that reads one place for ever may never ask that of
    them."""
    pair = ("D3", "D4")
    astray = Effect(fetched="garbage", fought=pair, joined=pair)
    assert told(settle(models["fixed-3"], astray), "stay", "D3") == "fought"
    assert told(settle(models["fixed-3"], replace(astray, later=cpu.HALTED)), "stay", "D3") == "fought in a loop"
    assert told(settle(models["fixed-3"], astray), "stay", "D5") == "clean"


def test_a_picture_that_is_not_driven_is_white(models: dict[str, BoardModel]) -> None:
    """The stage takes an open input for a high: its sync then goes from the tip up to white; a low one leaves black."""
    known = models["fixed-3"]
    maker = known.drivers["PICTURE"][0]
    told_of = {
        "healthy": HEALTHY,
        "open": Effect(outputs=(((maker, "PICTURE"), "floating"),)),
        "low": Effect(outputs=(((maker, "PICTURE"), "low"),)),
    }
    tokens = {name: told(settle(known, effect), "picture sync", "output") for name, effect in told_of.items()}
    assert tokens == {"healthy": "ok", "open": "white", "low": "ok"}
    assert told(settle(known, told_of["open"]), "line rate", "output") == "right"
