"""What ranking and the next check cost on a board of 60 parts with 80 readings, against one bare pass of numpy.

Two faults at once are allowed; the board's predictions are kept, as between the readings of one run.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from autobench.diagnosis.alphabets import alphabets
from autobench.diagnosis.board_model import BoardModel, board_model
from autobench.diagnosis.evidence import Observation, block_of
from autobench.diagnosis.means import BY_HAND
from autobench.diagnosis.next_check import next_check
from autobench.diagnosis.parts import Output, Part
from autobench.diagnosis.ranking import Predictions, predictions, rank
from autobench.documents import places
from autobench.documents.board import Board
from autobench.documents.reading import read
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict

pytestmark = pytest.mark.benchmark

READINGS = 80
PARTS = 60
FACTOR = 60.0  # times the logarithm of the table of all readings under all outcomes
GROWTH = 1.6  # exponent: twice the parts, at most three times the time


def board_of(count: int) -> BoardModel:
    """A shipped board without some of its decouplers, or with gates added, each of which hears the one before it."""
    board = read(places.find_board("pellin-600"), Board)
    model = board_model(board, board.resolve_options({}))
    parts = dict(model.parts)
    for name in [name for name, part in parts.items() if part.kind == "decoupler"][: max(0, len(parts) - count)]:
        del parts[name]
    added = 0
    while len(parts) < count:
        net, before = f"X{added}", f"X{added - 1}" if added else "MEMREQ"
        outputs = (Output(net, "decode", needs=((before, "low"),)),)
        parts[f"G{added}"] = Part(f"G{added}", "gates", rail="+5V", amps=5e-3, inputs=(before,), outputs=outputs)
        added += 1
    assert len(parts) == count
    return replace(model, parts=parts)


def observed(kept: Predictions) -> list[Observation]:
    """What the CPU being dead would show, 80 readings of it; what differs from a healthy board is outside."""
    dead = next(number for number, one in enumerate(kept.candidates) if one.fault == "cpu-dead")
    row = int(np.flatnonzero(kept.owner == dead)[0])
    found = []
    for observable, tokens in list(kept.tokens.items())[:READINGS]:
        alphabet = alphabets()[observable.kind]
        category = alphabet.categories[int(alphabet.table[tokens[row]].argmax())]
        verdict = Verdict.WITHIN if tokens[row] == tokens[0] else Verdict.OUTSIDE
        reading = Reading(
            step=f"line {observable.name}", stage="bus", net=observable.name, point=None, quantity="rate", value=0.0,
            unit="Hz", uncertainty=0.0, low=None, high=None, limit_from=None, verdict=verdict, state=category,
        )  # fmt: skip
        found.append(Observation(observable, ((category, 1.0),), (reading,), block_of(kept.board, observable)))
    return found


def least(action: Callable[[], object], runs: int = 5) -> float:
    """Least processor time in seconds over `runs`."""
    spent = []
    for _ in range(runs):
        began = time.process_time()
        action()
        spent.append(time.process_time() - began)
    return min(spent)


def cost(count: int) -> tuple[float, float, int]:
    """Seconds of ranking with the next check, of the bare pass, and the number of outcomes."""
    kept = predictions(board_of(count))
    seen = observed(kept)
    assert len(seen) == READINGS

    def judged() -> None:
        next_check(rank(kept, seen), frozenset(each.observable for each in seen), BY_HAND)

    judged()  # what lies beyond the round is worked out once and kept
    table = np.random.default_rng(1).random((READINGS, len(kept.owner)))
    return least(judged), least(lambda: np.log(table).sum(axis=0)), len(kept.owner)


def test_the_next_check_of_a_large_board_is_there_at_once() -> None:
    """60 parts and 80 readings, two faults at once allowed: a bounded multiple of one pass over the likelihoods."""
    seconds, bare, outcomes = cost(PARTS)
    print(f"\n{PARTS} parts, {outcomes} outcomes: {1e3 * seconds:.1f} ms, {seconds / bare:.0f} times one pass")
    assert seconds / bare < FACTOR


def test_the_cost_grows_with_the_parts_and_no_faster_than_their_pairs() -> None:
    """The time against the number of parts, as an exponent."""
    sizes = (60, 90, 120)
    found = {count: cost(count) for count in sizes}
    for count, (seconds, bare, outcomes) in found.items():
        print(f"\n{count} parts, {outcomes} outcomes: {1e3 * seconds:.1f} ms, {seconds / bare:.0f} times one pass")
    exponent = np.log(found[120][0] / found[60][0]) / np.log(120 / 60)
    assert exponent < GROWTH
