"""How each kind of check beyond the round is made: looks, a leg against its net, hands on a board that is proved off.

One function a kind; each leaves readings with the runner. It chooses no check and draws no conclusion.
"""

from __future__ import annotations

from dataclasses import replace

from autobench.diagnosis.result import NextCheck
from autobench.errors import InterlockRefusedError
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict
from autobench.plan.extra_looks import ExtraLooks
from autobench.plan.planner import partners
from autobench.plan.scope_steps import ResetJob
from autobench.plan.steps import CurrentJob, OhmsJob, Plan, PlannedStep, PolarityJob, PowerJob, RailJob
from autobench.plan.target import Target
from autobench.quantity import show
from autobench.run.actions import Bench
from autobench.run.dead_board import DeadBoard
from autobench.run.runner import Runner

LEG = " leg"  # of the chip itself, above its socket or free of the board
SAME_VOLTS = 0.7  # V by which two still points may differ and be one net, as an 8-bit scope sees them
ACROSS = 0.1  # V; a good switch or connector loses less at 1 A (common practice)
DEAD = "Power is off, proved. Put every tip down, "
PROMPTS = {
    "reseat": DEAD + "take {part} out, clean its legs and its socket, and press it home.",
    "swap": DEAD + "put a known good {part} into the socket; keep the old one.",
    "lift": DEAD + "bend out the {net} leg of {part}, at {point}, so that it touches nothing.",
    "put back": DEAD + "and the {net} leg of {part} back where it was.",
    "dry": DEAD + "and wait until {part} is as warm as its neighbours and dry: water between legs leaks.",
}
# On a board that is live, with what hurts: hands, chips and boards (trade practice; not below -50 degC, not above 70).
LIVE = "The board is live: touch nothing. "
TEMPER = {
    "cool": LIVE
    + "Glasses and gloves on; cool {part} alone with freezer spray that does not burn, in short bursts from "
    "10 cm, until it is white. Enter at once.",
    "warm": LIVE
    + "Warm {part} alone with air of 60 °C, 70 °C at most, from 5 cm for half a minute; never a part that is "
    "still cold. Enter at once.",
}
CONTACTS = ("connector", "switch")
RAIL_TURNS, LINE_TURNS, STARTS = 30, 6, 4  # looks at what may be well for a moment
BETWEEN_TURNS = 0.25  # s
WARM_UP = 60.0  # s
FEEL_WORDS = (
    "The board is live: lay a finger on every chip, not on its legs. Is one too hot to keep it on? "
    "Type its name, or nothing."
)
DONE = {"reseat": "reseated", "swap": "swapped for a known good one"}
CURED = "cured"  # the state of a board on which all that failed is well


class Deeds:
    """What can be done at one bench with one board."""

    def __init__(self, plan: Plan, bench: Bench, runner: Runner, looks: ExtraLooks) -> None:
        self._plan = plan
        self._bench = bench
        self._runner = runner
        self._looks = looks
        self._dead = DeadBoard(plan, bench, runner, looks)

    def do(self, check: NextCheck) -> None:
        """Make one check. Raises `SkipAskedError` or `BackAskedError` where the person leaves it out, and
        `InterlockRefusedError` where the rails cannot be proved off."""
        match check.kind:
            case "look":
                self._powered()
                self._look(check.net, check.point or "")
            case "scan":
                self._powered()
                for net, point in check.legs:
                    self._look(net, point)
            case "ohms":
                self._dead.rail_ohms(check)
            case "between":
                self._dead.between(check)
            case "feel":
                self._feel()
            case "compare":
                self._compare(check)
            case "across":
                self._across(check)
            case "lift":
                self._lift(check)
            case "cool":
                self._cool(check)
            case "again":
                self._once_more(check)
            case _:
                self._cure(check)

    # -- looks ----------------------------------------------------------------------------------------------------

    def _look(self, net: str, point: str) -> Reading | None:
        """One look at a point; its reading, where it is worth anything."""
        if self._bench.hand is not None:
            self._bench.hand.learn(self._looks.spot(point))
        taken = self._runner.take(self._looks.look(net, point))
        first = taken[0] if taken else None
        return first if first is not None and first.verdict not in (Verdict.VOID, Verdict.SKIPPED) else None

    def _compare(self, check: NextCheck) -> None:
        """The leg of a chip itself against its net."""
        self._powered()
        point = check.point or ""
        below, leg = self._look(check.net, point), self._look(check.net, point + LEG)
        if below is None or leg is None:
            return
        apart = self._differ(below, leg)
        state = "apart" if apart else "joined"
        seen = f"{check.net} is {in_words(below)} at {point} and {in_words(leg)} on the leg of the chip"
        words = f"{seen}: the contact between them is open" if apart else f"{seen}: they are joined"
        self._keep(f"compare {check.net} leg of {check.part}", check.net, point, "contact", state, words)

    def _differ(self, one: Reading, two: Reading) -> bool:
        """Whether two looks are not at one and the same net."""
        if (one.value or 0.0) > 0.0 or (two.value or 0.0) > 0.0:
            return not (one.value and two.value)
        levels = [self._level(each) for each in (one, two)]
        if None in levels:
            return one.state != two.state
        return abs((levels[0] or 0.0) - (levels[1] or 0.0)) > SAME_VOLTS

    def _level(self, look: Reading) -> float | None:
        """The level read in the same look."""
        found = (each for each in self._runner.readings if each.step == look.step and each.quantity == "level")
        return next((each.value for each in found), None)

    def _across(self, check: NextCheck) -> None:
        """Volts from one pin of a contact to the other, under load."""
        self._powered()
        target = Target(check.net, check.point or "", check.other or "", (), by_hand=True)
        if self._bench.hand is not None:
            self._bench.hand.learn(self._looks.spot(target.point))
        seen = self._bench.touch.volts(target, ACROSS)
        value = None if seen.estimate is None else seen.estimate.value
        lost = value is None or abs(value) > ACROSS
        words = f"{'more than the meter shows' if value is None else show(value, 'V')} across {check.part}"
        self._keep(f"across {check.part}", check.net, target.point, "across", "lost" if lost else "joined", words)

    def _feel(self) -> None:
        """A finger on every chip: the one that is hot, by what the person says."""
        person = self._bench.person
        if person is None:
            raise InterlockRefusedError("nobody is there to do it")
        if self._runner.unpowered is None:
            self._powered()
            self._bench.power.wait(WARM_UP)
        chips = [name for name, part in self._looks.board.parts.items() if part.draws]
        person.step = "feel"
        said = person.typed("heat", FEEL_WORDS).strip().upper()
        hot = [chip for chip in chips if chip.upper() == said]
        if said and not hot:
            person.end("refused", f"'{said}' is no chip of this board: nothing learnt")
            return
        person.end("answered", said or "none")
        for chip in chips:
            state = "hot" if chip in hot else "cool"
            words = f"{chip} is too hot to keep a finger on" if chip in hot else f"{chip} is no hotter than its like"
            self._keep(f"feel {chip}", None, chip, "heat", state, words)

    # -- hands on the board ---------------------------------------------------------------------------------------

    def _cure(self, check: NextCheck) -> None:
        """Reseat or swap a chip, and see whether what failed is well then."""
        accusing = self._accusing()
        self._hands(check.kind, check.part, "", check.point)
        done = f"{check.part} {DONE[check.kind]}"
        self._powered(after=f"after {done}")
        if self._runner.unpowered is not None:
            return
        readings = [reading for step in accusing for reading in self._again(step, f"after {done}")]
        judged = [reading for reading in readings if reading.verdict not in (Verdict.VOID, Verdict.SKIPPED)]
        if not judged:
            return
        wrong = [reading for reading in judged if reading.verdict is Verdict.OUTSIDE]
        state = "as before" if wrong else CURED
        what = f"{wrong[0].step} is still outside its limits" if wrong else "what failed is within its limits"
        step = f"{check.kind} {check.part}"
        self._keep(step, None, check.part, check.kind, state, f"{done}: {what}")

    def _again(self, step: PlannedStep, done: str) -> list[Reading]:
        """One step of the round once more, on a board that something was done to."""
        again = replace(step, name=f"{step.name}, {done}", required=False)
        return self._runner.take(again, f"taken {done}")

    def _accusing(self, net: str | None = None) -> list[PlannedStep]:
        """The steps of the round that speak against the board; with `net`, those that do on that net."""
        names = {
            reading.step
            for reading in self._runner.readings
            if reading.verdict is Verdict.OUTSIDE and not reading.conditional and reading.required
            and net in (None, reading.net)
        }  # fmt: skip
        fixed = (PowerJob, PolarityJob, OhmsJob)
        names |= partners(self._plan.steps, names)
        return [step for step in self._plan.steps if step.name in names and not isinstance(step.job, fixed)]

    def _cool(self, check: NextCheck) -> None:
        """One part made cold, or warm where all is well for the moment: does what failed on a net follow it?"""
        person, part = self._bench.person, check.part
        if person is None:
            raise InterlockRefusedError("nobody is there to do it")
        self._powered()
        steps = self._watched(check)
        before = self._fails(steps, f"with {part} as it is")
        if before is None:
            return
        how, done = ("cool", f"with {part} cold") if before else ("warm", f"with {part} warm")
        person.step = f"{how} {part}"
        person.done(how, TEMPER[how].format(part=part), part=part, net=check.net)
        try:
            if self._wants_start(part, steps):
                self._bench.power.make_off()
                self._powered(after=done, touched=False)
            after = self._fails(steps, done)
        finally:
            self._hands("dry", part, "", check.point)
        if after is None:
            return
        state = "follows" if after != before else "as before"
        words = f"{check.net} is {wrong_or_well(before)}, and {wrong_or_well(after)} {done}"
        self._keep(f"{how} {part}", check.net, part, "cool", state, words)

    def _once_more(self, check: NextCheck) -> None:
        """What failed on a net several times more, with nothing done to the board: is it well now and then?"""
        steps, fails = self._watched(check), list[bool]()
        for _ in range(self._turns(steps)):
            if self._from_start(steps):
                self._bench.power.make_off()
            self._powered(after="to look once more", touched=False)
            fails += self._turn(steps, "once more")
        if fails:
            both = any(fails) and not all(fails)
            words = f"{check.net} is outside its limits in {sum(fails)} of {len(fails)} further looks"
            state = "comes and goes" if both or not any(fails) else "as before"
            self._keep(f"again {check.net}", check.net, check.point, "again", state, words)

    def _fails(self, steps: list[PlannedStep], done: str) -> bool | None:
        """Whether any of these steps is outside its limits, looked at several times; None where nothing was learnt."""
        learnt = None
        for _ in range(self._turns(steps)):
            fails = self._turn(steps, done)
            if fails == [True]:
                return True
            learnt = False if fails else learnt
        return learnt

    def _turns(self, steps: list[PlannedStep]) -> int:
        """How often to look: a rail is soon read, and what is read from power-on takes the power off and on."""
        rails = all(isinstance(step.job, RailJob) for step in steps)
        return RAIL_TURNS if rails else STARTS if self._from_start(steps) else LINE_TURNS

    def _turn(self, steps: list[PlannedStep], done: str) -> list[bool]:
        """Whether any of these steps is outside its limits now; empty where nothing was learnt."""
        if self._runner.unpowered is not None:
            return []
        if self._bench.captures is not None:
            self._bench.captures.forget()
        self._bench.power.wait(BETWEEN_TURNS)
        readings = [reading for step in steps for reading in self._again(step, done)]
        judged = [reading for reading in readings if reading.verdict not in (Verdict.VOID, Verdict.SKIPPED)]
        return [any(reading.verdict is Verdict.OUTSIDE for reading in judged)] if judged else []

    def _watched(self, check: NextCheck) -> list[PlannedStep]:
        """What is looked at again and again: the volts of a rail at a point, else the steps that speak against the
        board on a net. Never one that sets the supply by what it reads: a contact that opens would have it raised."""
        rails = [step for step in self._plan.steps if isinstance(step.job, RailJob) and step.job.rail == check.net]
        there = [step for step in rails if isinstance(step.job, RailJob) and step.job.target.point == check.point]
        return there or [step for step in self._accusing(check.net) if not isinstance(step.job, CurrentJob)]

    def _from_start(self, steps: list[PlannedStep]) -> bool:
        """Whether any of these is read from power-on."""
        return any(isinstance(step.job, ResetJob) for step in steps)

    def _wants_start(self, part: str, steps: list[PlannedStep]) -> bool:
        """Whether the board has to start anew with the part cold: a program that went astray does not come back, and
        what is read from power-on is read then."""
        chip = self._looks.board.parts[part].kind not in CONTACTS
        return chip or self._from_start(steps)

    def _lift(self, check: NextCheck) -> None:
        """An output leg off its net: what does it do by itself?"""
        self._hands("lift", check.part, check.net, check.point)
        try:
            self._powered(after=f"with the {check.net} leg of {check.part} lifted")
            if self._runner.unpowered is None:
                leg = self._look(check.net, (check.point or "") + LEG)
                if leg is not None:
                    state = "moving" if leg.value else "still"
                    words = f"the free {check.net} leg of {check.part} is {in_words(leg)}"
                    self._keep(
                        f"lift {check.net} leg of {check.part}", check.net, check.point, "free leg", state, words
                    )
        finally:
            self._hands("put back", check.part, check.net, check.point)

    def _hands(self, kind: str, part: str, net: str, point: str | None) -> None:
        """Ask for something that is done by hand, with every rail proved off."""
        person = self._bench.person
        if person is None:
            raise InterlockRefusedError("nobody is there to do it")
        self._dead.prove()
        if self._bench.hand is not None:
            self._bench.hand.let_go()
        person.step = f"{kind} {part}"
        words = PROMPTS[kind].format(part=part, net=net, point=point)
        person.done(kind, words, part=part, net=net or None)

    # -- power ----------------------------------------------------------------------------------------------------

    def _powered(self, after: str = "", *, touched: bool = True) -> None:
        """The power on, by the rules of the round: after hands `touched` the board its ohms are looked at first."""
        if all(output.interlock.state == "on" for output in self._bench.power.outputs.values()):
            return
        for step in self._plan.steps:
            on = isinstance(step.job, PowerJob) and step.job.on
            if on or (after and touched and isinstance(step.job, OhmsJob)):
                name = f"{step.name} again" + (f", {after}" if after else "")
                self._runner.take(replace(step, name=name, required=False), after or None)

    def _keep(self, step: str, net: str | None, point: str | None, quantity: str, state: str, words: str) -> None:
        """What a check came to, as a reading: for information, since its meaning depends on what is broken."""
        self._runner.keep(
            Reading(
                step=step, stage="bus", net=net, point=point, quantity=quantity, value=None, unit="", uncertainty=None,
                low=None, high=None, limit_from="for information", verdict=Verdict.WITHIN, state=state, reason=words,
                required=False,
            )
        )  # fmt: skip


def wrong_or_well(fails: bool) -> str:
    """How something stands, in words."""
    return "outside its limits" if fails else "within its limits"


def in_words(look: Reading) -> str:
    """`moving` or the level a look found."""
    return "moving" if look.value else str(look.state or "still")
