"""The rules of the interlock one by one, on the simulated bench, by its own truth; the figures are those of the design.

What stands elsewhere: the table in `test_interlock`, trips in `test_trip_matrix`, relays in `test_route`, near-shorts
and the proof of OFF in `test_injection`, the order of rails in `tests/whole/test_boards`, random orders in
`test_power_machine`, supplies worked by hand in `test_supply_alone` and `tests/whole/test_hand_probe`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from autobench import app
from autobench.documents.gathered import read_documents
from autobench.errors import InterlockRefusedError, StoppedError
from autobench.events import Event, PowerChanged, Prompted, Truth
from autobench.instruments.dialect import Dialect
from autobench.judgement.verdict import Verdict
from autobench.plan.planner import Planner
from autobench.plan.steps import OhmsJob
from autobench.run import actions
from autobench.run.person import POWER_WITHIN, Person
from tests.run.bystanders import Operator
from tests.run.test_power import Stand


@pytest.fixture
def stand() -> Iterator[Stand]:
    made = Stand()
    yield made
    made.power.make_off()
    made.opened.close()
    made.bench.close()


# -- what was set is read back ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("back", ["set_volts_back", "set_amps_back", "set_trip_back"])
@pytest.mark.parametrize("wrong", [1.02, 0.98, float("nan")])
def test_no_on_where_a_setting_reads_back_otherwise(
    stand: Stand, monkeypatch: pytest.MonkeyPatch, back: str, wrong: float
) -> None:
    """Volts, current limit or trip 2 % from what was asked, or no number: refused in words, never on at full volts."""
    stand.settle()
    supply: Any = stand.opened.supplies["supply"]
    told = getattr(supply, back)
    monkeypatch.setattr(supply, back, lambda output: wrong * told(output))
    times = stand.bench.truth().times_on
    with pytest.raises(InterlockRefusedError, match="the supply says it is set to"):
        stand.power.power_up()
    assert stand.bench.truth().times_on == times


def test_a_setting_within_one_percent_is_taken(stand: Stand, monkeypatch: pytest.MonkeyPatch) -> None:
    """A supply rounds what it is told."""
    stand.settle()
    supply: Any = stand.opened.supplies["supply"]
    told = supply.set_amps_back
    monkeypatch.setattr(supply, "set_amps_back", lambda output: 1.005 * told(output))
    stand.power.power_up()
    assert stand.bench.truth().any_on


def test_every_on_came_after_its_three_settings(stand: Stand) -> None:
    """In what was really sent: no ON without volts, limit, trip and their read-backs since the last OFF."""
    sent: list[str] = []
    link = stand.opened.supplies["supply"].dialect.link
    link.on_exchange = lambda exchange: sent.append(exchange.sent.decode())
    stand.settle()
    stand.power.power_up()
    since: list[str] = []
    for line in sent:
        if line.startswith("OUTP OFF"):
            since.clear()
        if line.startswith("OUTP ON"):
            for wanted in ("VOLT ", "CURR ", "VOLT:PROT ", "VOLT? ", "CURR? ", "VOLT:PROT? "):
                assert any(each.startswith(wanted) for each in since), (wanted, since)
        since.append(line)
    assert sum(line.startswith("OUTP ON") for line in sent) == 2  # the probe and the full one


# -- polarity ---------------------------------------------------------------------------------------------------------


def test_the_first_on_of_a_round_is_the_probe(tmp_path: Path) -> None:
    """0.3 V and 50 mA at most, and nothing more until it was off again and the sign was right."""
    changes = changes_of(tmp_path, "leads-reversed")
    assert any(change.on for change in changes)
    assert all(change.volts <= 0.3 + 1e-9 and change.amps <= 0.05 + 1e-9 for change in changes if change.on)


def changes_of(folder: Path, fault: str) -> list[Any]:
    """What the outputs of a round with a fault really did."""
    from simulated_instruments.bench import SimulatedBench

    opened: list[SimulatedBench] = []
    with pytest.MonkeyPatch.context() as patched:
        open_simulation = app.open_simulation

        def caught(*arguments: Any) -> SimulatedBench | None:
            bench = open_simulation(*arguments)
            opened.extend([bench] if bench is not None else [])
            return bench

        patched.setattr(app, "open_simulation", caught)
        request = app.CheckRequest(
            "tarnbeck-8",
            records=str(folder / "r.sqlite"),
            unattended=True,
            simulation=app.Simulation(faults=(fault,)),
        )
        app.check(request)
    return opened[0].world.changes


# -- ohms -------------------------------------------------------------------------------------------------------------


def ohms_step(stand: Stand) -> Any:
    """The ohms step of the board, and a bench of actions over the stand."""
    read = read_documents("tarnbeck-8", "simulated", "baseline")
    plan = Planner(read.bench, read.drivers, read.board, {}).plan(read.sequence)
    step = next(step for step in plan.steps if isinstance(step.job, OhmsJob))
    touch = stand.power._touch
    assert touch is not None
    bench = actions.Bench(stand.power, None, touch, stand.bench.clock, lambda _rail, _amps: [], 50.0)
    return step, bench


@pytest.mark.parametrize(("left", "counts"), [(0.049, True), (0.051, False), (-0.2, False), (3.0, False)])
def test_ohms_count_only_below_50_mv(stand: Stand, monkeypatch: pytest.MonkeyPatch, left: float, counts: bool) -> None:
    """With more on the rail the reading measures the charge: void after a while, and the gate stays shut."""
    stand.power.make_off()
    step, bench = ohms_step(stand)
    monkeypatch.setattr(bench.touch, "glance", lambda _target: left)
    (reading,) = actions.ohms(bench, step, step.job)
    assert (reading.verdict is not Verdict.VOID) is counts
    assert (stand.power.outputs["+5V"].interlock.state == "checked") is counts


def test_ohms_with_the_supply_across_the_rail_are_void(stand: Stand) -> None:
    """An output that stays connected when off is read as well; with nobody to take its leads off nothing is learnt."""
    stand.power.make_off()
    output = stand.power.outputs["+5V"]
    output.feed = replace(output.feed, isolated_when_off=False)
    step, bench = ohms_step(stand)
    (reading,) = actions.ohms(bench, step, step.job)
    assert reading.verdict is Verdict.VOID
    assert "stays across the rail" in (reading.reason or "")
    assert output.interlock.state == "off"


def test_a_person_takes_the_leads_off_for_the_ohms(stand: Stand) -> None:
    """Asked before and after, with every rail proved off; then the reading counts."""
    stand.power.make_off()
    output = stand.power.outputs["+5V"]
    output.feed = replace(output.feed, isolated_when_off=False)
    step, bench = ohms_step(stand)
    keys, states = Operator(), list[str]()

    def emit(event: Event) -> None:
        keys.show(event)
        if isinstance(event, Prompted):
            states.append(output.interlock.state)

    bench.person = Person(keys, stand.bench.clock, emit, lambda: None)
    (reading,) = actions.ohms(bench, step, step.job)
    assert [(prompt.kind, prompt.on) for prompt in keys.prompts] == [("plug", False), ("plug", True)]
    assert states == ["off", "checked"]
    assert reading.verdict is Verdict.WITHIN


# -- the envelope -----------------------------------------------------------------------------------------------------


def test_caps_are_only_ever_lowered() -> None:
    """Whichever of bench and board allows less is what counts; neither file, nor an option, can raise the other's."""
    read = read_documents("tarnbeck-8", "simulated", "baseline")
    feed, rail = read.bench.feeds["+5V"], read.board.rails["+5V"]
    for amps in (0.5, 1.5, 4.0):
        for board_amps in (1.2, 1.5, 3.0):
            theirs, ours = replace(rail.amps, high=board_amps), replace(feed.amps, high=amps)
            bench = read.bench.model_copy(update={"feeds": {"+5V": feed.model_copy(update={"amps": ours})}})
            board = read.board.model_copy(update={"rails": {"+5V": rail.model_copy(update={"amps": theirs})}})
            (planned,) = Planner(bench, read.drivers, board, {}).feeds
            assert planned.envelope.amps == min(amps, board_amps, 5.0)
            assert planned.amps <= planned.envelope.amps


def test_lead_compensation_stops_at_what_the_board_takes() -> None:
    """Leads that lose 45 mV, a board that may get 20 mV more than nominal: 20 mV more is what is set, and no more."""
    stand = Stand(top_volts=5.02)
    try:
        stand.settle()
        stand.power.power_up()
        assert stand.power.outputs["+5V"].set_volts == pytest.approx(5.02)
        assert max(change.volts for change in stand.bench.truth().changes) <= 5.02 + 1e-9
    finally:
        stand.power.make_off()
        stand.opened.close()
        stand.bench.close()


def test_the_single_retry_stays_inside_the_envelope() -> None:
    """A limit of 0.4 A with 0.5 A allowed is raised to 0.5 A and not to 0.6 A, once."""
    stand = Stand(amps=0.4)
    envelope = stand.power.outputs["+5V"].interlock.envelope
    stand.power.outputs["+5V"].interlock.envelope = replace(envelope, amps=0.5)
    try:
        stand.settle()
        with pytest.raises(Exception, match="limits"):
            stand.power.power_up()
        amps = [change.amps for change in stand.bench.truth().changes if change.on and change.volts > 1.0]
        assert list(dict.fromkeys(round(each, 6) for each in amps)) == [0.4, 0.5]
    finally:
        stand.power.make_off()
        stand.opened.close()
        stand.bench.close()


# -- the person -------------------------------------------------------------------------------------------------------


def test_nobody_at_the_bench_for_ten_seconds_means_no_power(tmp_path: Path) -> None:
    """On a hand bench power comes on with a key only, within ten seconds; without one the board is never powered."""
    keys = Operator(answer=lambda prompt, _: ("nothing",) if prompt.kind == "power" else (), patience=30.0)
    events: list[Event] = []
    request = app.CheckRequest("tarnbeck-8", bench="hand", only=("rails",), records=str(tmp_path / "r.sqlite"))
    state = app.check(request, [keys.show, events.append], keys=keys)
    (asked,) = [event for event in events if isinstance(event, Prompted) and event.kind == "power"]
    ended = next(end for end in keys.ends if end.at > asked.at)
    assert ended.how == "refused"
    assert ended.at - asked.at == pytest.approx(POWER_WITHIN, abs=0.5)
    assert not any(isinstance(event, PowerChanged) and event.state == "on" for event in events)
    assert state.ended is not None
    assert state.ended.verdict == "undecided"


def test_the_off_key_switches_off_whatever_is_asked(tmp_path: Path) -> None:
    """A prompt on a live board says its volts and limit and has the off key; that key ends the run, off."""
    keys = Operator(answer=lambda prompt, _: ("off",) if prompt.step.startswith("rail +5V far") else ())
    events: list[Event] = []
    request = app.CheckRequest("tarnbeck-8", bench="hand", only=("rails",), records=str(tmp_path / "r.sqlite"))
    state = app.check(request, [keys.show, events.append], keys=keys)
    live = next(prompt for prompt in keys.prompts if prompt.step.startswith("rail +5V far"))
    assert ("o", "everything off") in live.keys
    assert state.ended is not None
    assert state.ended.verdict == "stopped"
    (truth,) = [event for event in events if isinstance(event, Truth)]
    assert truth.times_on == 2  # the probe and the full one
    assert not any(truth.outputs.values())


@pytest.mark.parametrize("kind", ["plug", "load"])
def test_hands_are_asked_onto_the_board_only_when_every_rail_was_proved_off(tmp_path: Path, kind: str) -> None:
    """A plug to take out or put in: every rail was measured below 0.5 V since it was last on."""
    states: dict[str, str] = {}
    asked: list[str] = []
    keys = Operator()

    def watch(event: Event) -> None:
        keys.show(event)
        if isinstance(event, PowerChanged):
            states[event.rail] = event.state
        if isinstance(event, Prompted) and event.kind == kind:
            asked.extend(states.values())

    request = app.CheckRequest(
        "tarnbeck-8",
        bench="hand-supply",
        sequence="supply-alone" if kind == "load" else "baseline",
        only=() if kind == "load" else ("ohms",),
        records=str(tmp_path / "r.sqlite"),
    )
    app.check(request, [watch], keys=keys)
    allowed = {"off", "checked", "settled", "refused", "stopped"} | ({"alone"} if kind == "load" else set())
    assert set(asked) <= allowed | {"apart"}


# -- the end ----------------------------------------------------------------------------------------------------------


def test_panels_are_handed_back_on_every_way_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every instrument's conversation is closed the same way, stopped or not: `local` where its dialect has one."""
    closed: list[str] = []
    close = Dialect.close

    def noted(dialect: Dialect) -> None:
        closed.append(dialect.name)
        close(dialect)

    monkeypatch.setattr(Dialect, "close", noted)

    def stops(event: Event) -> None:
        if isinstance(event, PowerChanged) and event.state == "on":
            raise StoppedError("enough")  # a view's affair, and none of the run's

    events: list[Event] = []
    for views in ([events.append], [stops]):
        closed.clear()
        app.check(
            app.CheckRequest("tarnbeck-8", records=str(tmp_path / "r.sqlite"), unattended=True, only=("power",)), views
        )
        assert sorted(closed) == ["meter", "relays", "scope", "supply"]
    assert any(isinstance(event, Truth) for event in events)
