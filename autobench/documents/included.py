"""A sequence with the steps of those it includes in their places, or every mistake in how they go together.

It reads the files that are included; circles are refused. What a step does is not known here.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from autobench.documents import places
from autobench.documents.include import Include
from autobench.documents.loader import Tree, scan
from autobench.documents.reading import mistake_of, model_of
from autobench.documents.section import Complaint
from autobench.documents.sequence import STAGES, Sequence, Step
from autobench.documents.words import choice_text, quoted
from autobench.errors import FileError, Mistake, UsageError
from autobench.judgement.verdict import DEFAULT_RULE

MOST_STEPS = 500  # of a sequence with all that it includes


@dataclass(frozen=True)
class Placed:
    """A step, and the number of the entry of the outermost file that it comes from."""

    entry: int
    step: Step


def read_sequence(path: Path) -> tuple[Sequence, tuple[Path, ...]]:
    """The sequence at `path`, includes resolved, and the other files it took them from.

    Raises `FileError` with every mistake of all the files.
    """
    tree, mistakes = scan(path)
    files: dict[Path, None] = {}
    return resolved(model_of(tree, Sequence, mistakes), tree, path, files), tuple(files)


def resolved(sequence: Sequence, tree: Tree, path: Path, files: dict[Path, None] | None = None) -> Sequence:
    """The sequence of `tree` with its includes resolved; adds their files to `files`. Raises `FileError`."""
    mistakes: list[Mistake] = []
    resolver = Resolver(mistakes)
    placed = list(resolver.steps(sequence, tree, path, ()))
    if files is not None:
        files |= resolver.files
    whole = sequence.model_copy(update={"steps": tuple(each.step for each in placed)})
    if not mistakes:
        complaints = [*whole.check(), *condition_complaints(placed)]
        # The numbers are those of the whole; a place is that of the entry which brought the step.
        mistakes += [mistake_of(tree, at_entry(complaint, placed, sequence)) for complaint in complaints]
    if not mistakes and not placed:
        mistakes.append(tree.mistake(("steps",), "steps: nothing is left of what is included"))
    if mistakes:
        raise FileError(sorted(set(mistakes)))
    return whole


def at_entry(complaint: Complaint, placed: list[Placed], sequence: Sequence) -> Complaint:
    """A complaint about a step of the whole as one about the entry of the file."""
    number = complaint.route[1]
    each = placed[int(number)]
    if isinstance(sequence.steps[each.entry], Step):
        return Complaint(("steps", each.entry, *complaint.route[2:]), complaint.text, complaint.at_key)
    text = f"step {quoted(each.step.step)}: {complaint.text}"
    return Complaint(("steps", each.entry, "include"), text)


class Resolver:
    """Goes through a sequence and all it includes; what is wrong is added to `mistakes`."""

    def __init__(self, mistakes: list[Mistake]) -> None:
        self.mistakes = mistakes
        self.files: dict[Path, None] = {}
        self.count = 0

    def steps(self, sequence: Sequence, tree: Tree, path: Path, inside: tuple[Path, ...]) -> Iterator[Placed]:
        """The steps of `sequence`, each with the number of its entry; `inside` are the files it is included by."""
        for number, entry in enumerate(sequence.steps):
            self.count += 1
            if self.count > MOST_STEPS:
                break
            if isinstance(entry, Step):
                yield Placed(number, entry)
                continue
            route = ("steps", number, "include")
            try:
                found = self.included(entry, path, (*inside, path.resolve()))
            except UsageError as error:
                mistakes = error.mistakes if isinstance(error, FileError) else ()
                self.mistakes += mistakes or [mistake_of(tree, Complaint(route, str(error)))]
                continue
            self.mistakes += [mistake_of(tree, complaint) for complaint in unknown(number, entry, found)]
            yield from (Placed(number, step) for step in taken(entry, found))
        if self.count > MOST_STEPS and not inside:
            text = f"more than {MOST_STEPS} steps with all that is included"
            self.mistakes.append(mistake_of(tree, Complaint(("steps",), text)))

    def included(self, entry: Include, path: Path, inside: tuple[Path, ...]) -> list[Step]:
        """Every step of the included sequence; raises `UsageError` (a `FileError` where its file is wrong)."""
        other = places.find_sequence_beside(entry.include, path)
        if other.resolve() in inside:
            circle = [*inside[inside.index(other.resolve()) :], other]
            raise UsageError(f"includes itself: {' > '.join(each.stem for each in circle)}")
        self.files[other] = None
        tree, mistakes = scan(other)
        sequence = model_of(tree, Sequence, mistakes)
        rule = sequence.rule if sequence.rule != DEFAULT_RULE else None
        return [
            placed.step.model_copy(update={"rule": placed.step.rule or rule}) if placed.step.measure else placed.step
            for placed in self.steps(sequence, tree, other, inside)
        ]


def taken(entry: Include, steps: list[Step]) -> Iterator[Step]:
    """The steps that an include takes over, under the names it gives them."""
    names = {step.step for step in steps}
    for step in steps:
        if step.step in entry.leave_out or (entry.stages and step.stage not in entry.stages):
            continue
        called = f"{entry.called} " if entry.called else ""
        conditions = {f"{called}{of}" if of in names else of: words for of, words in step.only_if.items()}
        changed = {"step": f"{called}{step.step}", "only_if": {**conditions, **entry.only_if}}
        yield step.model_copy(update=changed)


def unknown(number: int, entry: Include, steps: list[Step]) -> Iterator[Complaint]:
    """Words of an include that fit nothing in what it includes."""
    names = list(dict.fromkeys(step.step for step in steps))
    for name in entry.leave_out:
        if name not in names:
            text = f"{entry.include} has no step {quoted(name)}; {choice_text(name, names)}"
            yield Complaint(("steps", number, "leave out"), text)
    stages = {step.stage for step in steps}
    for stage in entry.stages:
        if stage not in stages:
            text = f"{entry.include} has no step of the stage {quoted(stage)}"
            yield Complaint(("steps", number, "stages"), text)


def condition_complaints(placed: list[Placed]) -> Iterator[Complaint]:
    """Conditions on what comes later, or never."""
    names: list[str] = []
    stages: list[str] = []
    for number, each in enumerate(placed):
        for of in each.step.only_if:
            if of in names or of in stages:
                continue
            later = "comes later" if of in STAGES or any(of == other.step.step for other in placed) else "is unknown"
            known = [*dict.fromkeys(stages), *dict.fromkeys(names)]
            text = f"{quoted(of)} {later}; a condition is on an earlier stage or step; {choice_text(of, known)}"
            yield Complaint(("steps", number, "only if", of), text, at_key=True)
        names.append(each.step.step)
        stages.append(each.step.stage)
