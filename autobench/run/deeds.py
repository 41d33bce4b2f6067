"""How each kind of check beyond the round is made: looks, a leg against its net, hands on a board that is proved off.

One function a kind; each leaves readings with the runner. It chooses no check and draws no conclusion.
"""

from __future__ import annotations

from autobench.diagnosis.result import NextCheck
from autobench.errors import InterlockRefusedError
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict
from autobench.plan.extra_looks import ExtraLooks
from autobench.plan.steps import Plan
from autobench.plan.target import Target
from autobench.quantity import show
from autobench.run.actions import Bench
from autobench.run.repeated_looks import RepeatedLooks
from autobench.run.runner import Runner
from autobench.run.worked_board import WorkedBoard

LEG = " leg"  # of the chip itself, above its socket or free of the board
SAME_VOLTS = 0.7  # V by which two still points may differ and be one net, as an 8-bit scope sees them
ACROSS = 0.1  # V; a good switch or connector loses less at 1 A (common practice)
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
        self._board = WorkedBoard(plan, bench, runner, looks)
        self._repeated = RepeatedLooks(plan, bench, runner, looks, self._board)

    def do(self, check: NextCheck) -> None:
        """Make one check. Raises `SkipAskedError` or `BackAskedError` where the person leaves it out, and
        `InterlockRefusedError` where the rails cannot be proved off."""
        match check.kind:
            case "look":
                self._board.powered()
                self._look(check.net, check.point or "")
            case "scan":
                self._board.powered()
                for net, point in check.legs:
                    self._look(net, point)
            case "ohms":
                self._board.dead.rail_ohms(check)
            case "between":
                self._board.dead.between(check)
            case "feel":
                self._feel()
            case "compare":
                self._compare(check)
            case "across":
                self._across(check)
            case "lift":
                self._lift(check)
            case "cool":
                self._repeated.cool(check)
            case "again":
                self._repeated.once_more(check)
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
        self._board.powered()
        point = check.point or ""
        below, leg = self._look(check.net, point), self._look(check.net, point + LEG)
        if below is None or leg is None:
            return
        apart = self._differ(below, leg)
        state = "apart" if apart else "joined"
        seen = f"{check.net} is {in_words(below)} at {point} and {in_words(leg)} on the leg of the chip"
        words = f"{seen}: the contact between them is open" if apart else f"{seen}: they are joined"
        self._board.keep(f"compare {check.net} leg of {check.part}", check.net, point, "contact", state, words)

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
        self._board.powered()
        target = Target(check.net, check.point or "", check.other or "", (), by_hand=True)
        if self._bench.hand is not None:
            self._bench.hand.learn(self._looks.spot(target.point))
        seen = self._bench.touch.volts(target, ACROSS)
        value = None if seen.estimate is None else seen.estimate.value
        lost = value is None or abs(value) > ACROSS
        words = f"{'more than the meter shows' if value is None else show(value, 'V')} across {check.part}"
        self._board.keep(f"across {check.part}", check.net, target.point, "across", "lost" if lost else "joined", words)

    def _feel(self) -> None:
        """A finger on every chip: the one that is hot, by what the person says."""
        person = self._bench.person
        if person is None:
            raise InterlockRefusedError("nobody is there to do it")
        if self._runner.unpowered is None:
            self._board.powered()
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
            self._board.keep(f"feel {chip}", None, chip, "heat", state, words)

    # -- hands on the board ---------------------------------------------------------------------------------------

    def _cure(self, check: NextCheck) -> None:
        """Reseat or swap a chip, and see whether what failed is well then."""
        accusing = self._board.accusing()
        self._board.hands(check.kind, check.part, "", check.point)
        done = f"{check.part} {DONE[check.kind]}"
        self._board.powered(after=f"after {done}")
        if self._runner.unpowered is not None:
            return
        readings = [reading for step in accusing for reading in self._board.again(step, f"after {done}")]
        judged = [reading for reading in readings if reading.verdict not in (Verdict.VOID, Verdict.SKIPPED)]
        if not judged:
            return
        wrong = [reading for reading in judged if reading.verdict is Verdict.OUTSIDE]
        state = "as before" if wrong else CURED
        what = f"{wrong[0].step} is still outside its limits" if wrong else "what failed is within its limits"
        step = f"{check.kind} {check.part}"
        self._board.keep(step, None, check.part, check.kind, state, f"{done}: {what}")

    def _lift(self, check: NextCheck) -> None:
        """An output leg off its net: what does it do by itself?"""
        self._board.hands("lift", check.part, check.net, check.point)
        try:
            self._board.powered(after=f"with the {check.net} leg of {check.part} lifted")
            if self._runner.unpowered is None:
                leg = self._look(check.net, (check.point or "") + LEG)
                if leg is not None:
                    state = "moving" if leg.value else "still"
                    words = f"the free {check.net} leg of {check.part} is {in_words(leg)}"
                    self._board.keep(
                        f"lift {check.net} leg of {check.part}", check.net, check.point, "free leg", state, words
                    )
        finally:
            self._board.hands("put back", check.part, check.net, check.point)


def in_words(look: Reading) -> str:
    """`moving` or the level a look found."""
    return "moving" if look.value else str(look.state or "still")
