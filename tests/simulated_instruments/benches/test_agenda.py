"""What is to come on a bench: order, replacement, and deeds that bring others."""

from __future__ import annotations

from simulated_instruments.benches.agenda import Agenda


def done(agenda: Agenda, now: float) -> None:
    """Do what is due by `now`."""
    for time, deed in agenda.due(now):
        deed(time)


def test_deeds_are_done_in_the_order_of_their_times_and_once() -> None:
    """Earlier times first, equal ones in the order they were added, nothing before its time and nothing twice."""
    agenda, seen = Agenda(), list[tuple[str, float]]()
    for time, name in ((2.0, "b"), (1.0, "a"), (2.0, "c"), (3.0, "d")):
        agenda.add(time, name, lambda then, name=name: seen.append((name, then)))  # type: ignore[misc]
    done(agenda, 2.5)
    assert seen == [("a", 1.0), ("b", 2.0), ("c", 2.0)]
    done(agenda, 9.0)
    assert seen[3:] == [("d", 3.0)]


def test_a_deed_may_bring_another_that_is_due_as_well() -> None:
    """What a deed adds comes in its own place, before later ones."""
    agenda, seen = Agenda(), list[str]()

    def first(then: float) -> None:
        seen.append("first")
        agenda.add(then + 0.5, "x", lambda _: seen.append("between"))

    agenda.add(2.0, "x", lambda _: seen.append("last"))
    agenda.add(1.0, "x", first)
    done(agenda, 5.0)
    assert seen == ["first", "between", "last"]


def test_a_new_plan_replaces_the_later_part_of_the_old() -> None:
    """Only deeds of the same owner after the given time are dropped."""
    agenda, seen = Agenda(), list[str]()
    for time, whose in ((1.0, "tip"), (2.0, "tip"), (2.0, "knob")):
        agenda.add(time, whose, lambda then, whose=whose: seen.append(f"{whose} {then:g}"))  # type: ignore[misc]
    agenda.drop("tip", after=1.0)
    done(agenda, 5.0)
    assert seen == ["tip 1", "knob 2"]
