"""Which rounds a rehearsal consists of: the same each time, and as many places of a fault as there are seeds."""

from __future__ import annotations

from autobench.rehearsal.cases import BENCH, BOARD, GOOD, PAIR, FaultPlace, cases_of, turn

PLACES = [
    *(FaultPlace("ram-dead", f"U{number}", None, BOARD, "") for number in range(11, 19)),
    FaultPlace("cpu-dead", "U1", None, BOARD, ""),
    FaultPlace("ram-marginal", "U11", None, BOARD, ""),
    FaultPlace("wrong-pin", "U1.6", None, BENCH, ""),
]


def test_every_fault_name_comes_once_a_seed_after_the_good_boards() -> None:
    """Good boards, board faults by name, bench faults, pairs: two seeds, three good ones."""
    cases = list(cases_of(PLACES, range(5, 7), good=3, pairs=2))
    assert [case.kind for case in cases] == [GOOD] * 3 + [BOARD] * 6 + [BENCH] * 2 + [PAIR] * 2
    assert [case.seed for case in cases if case.kind == GOOD] == [5, 6, 7]
    board = [(case.places[0].fault, case.seed) for case in cases if case.kind == BOARD]
    assert board == [(name, seed) for name in ("ram-dead", "cpu-dead", "ram-marginal") for seed in (5, 6)]


def test_the_places_of_a_fault_go_round() -> None:
    """Eight seeds see all eight memory chips, and the ninth begins again."""
    memory = [place for place in PLACES if place.fault == "ram-dead"]
    seen = [turn(memory, seed).part for seed in range(9)]
    assert sorted(seen[:8]) == sorted(place.part for place in memory)
    assert seen[8] == seen[0]


def test_a_pair_is_two_faults_of_which_something_shows() -> None:
    """What cannot show is no part of a pair, and the two are not one fault twice."""
    pairs = [case for case in cases_of(PLACES, range(0), 0, 6, {"ram-marginal": ""}) if case.kind == PAIR]
    assert len(pairs) == 6
    for case in pairs:
        assert {place.fault for place in case.places} == {"ram-dead", "cpu-dead"}


def test_a_case_is_written_as_check_takes_it() -> None:
    """Whoever wonders about a round can do it again by hand."""
    case = next(iter(cases_of(PLACES[8:9], range(4, 5), 0, 0)))
    assert case.written == "--fault cpu-dead@U1 --seed 4"
