"""Whether the actions of a driver file are those of its kind: names, answers, placeholders, units, accuracy.

Pure functions from what was read to complaints. They read no file and send nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from autobench.documents.driver_roles import DECODERS, TELL_CLOSED, Signature
from autobench.documents.driver_sections import Action, Function, Trust
from autobench.documents.section import Complaint
from autobench.documents.words import choice_text, closest, quoted

Route = tuple[str | int, ...]


def name_complaints(kind: str, names: Mapping[str, object], known: Mapping[str, Signature]) -> Iterator[Complaint]:
    """Unknown actions with the nearest known one; required ones that are not there, as one list."""
    meant = set()
    for name in names:
        if name not in known:
            meant.add(closest(name, [word for word in known if word not in names]))
            text = f"a {kind} driver has no such action; {choice_text(name, known)}"
            yield Complaint(("actions", name), text, at_key=True)
    lacking = [
        name for name, signature in known.items() if signature.required and name not in names and name not in meant
    ]
    if lacking:
        listed = ", ".join(quoted(name) for name in lacking)
        yield Complaint(("actions",), f"a {kind} driver must have {listed} too", at_key=True)


def action_complaints(
    route: Route, action: Action, signature: Signature, places: tuple[int, ...]
) -> Iterator[Complaint]:
    """One action against its signature; `places` are the outputs or channels it may act on."""
    if signature.answers:
        yield from answer_complaints(route, action, signature)
    elif action.ask is not None:
        yield Complaint((*route, "ask"), "this action sets something; it has 'say' and no 'ask'", at_key=True)
    elif not action.say:
        yield Complaint(route, "nothing is said; this action needs 'say'")
    yield from placeholder_complaints(route, action, signature, places)
    yield from value_complaints(route, action, signature)
    if action.trust is not None:
        if signature.trust:
            yield from trust_complaints((*route, "trust"), action.trust, signature.unit)
        else:
            yield Complaint((*route, "trust"), "this action measures nothing that 'trust' could be about", at_key=True)
    elif signature.trust:
        yield Complaint(route, "this action measures, so it needs 'trust': how far its readings can be off")


def answer_complaints(route: Route, action: Action, signature: Signature) -> Iterator[Complaint]:
    """A question with a decoder of the right shape, in the right unit."""
    if action.answer is None:
        yield Complaint(route, "this action reads something; it needs 'ask' and 'answer'")
        return
    if DECODERS[action.answer] != signature.answers:
        fitting = ", ".join(decoder for decoder, shape in DECODERS.items() if shape == signature.answers)
        yield Complaint((*route, "answer"), f"{quoted(action.answer)} does not fit this action; fitting: {fitting}")
    if action.unit is not None and action.unit != signature.unit:
        wanted = f"this action is in {signature.unit}" if signature.unit else "this action has no unit"
        yield Complaint((*route, "unit"), wanted)


def placeholder_complaints(
    route: Route, action: Action, signature: Signature, places: tuple[int, ...]
) -> Iterator[Complaint]:
    """Only placeholders the role can fill, and none left out that changes what is done."""
    place = signature.place
    if place == "channels" and "channel" in action.placeholders and not signature.answers:
        place = "channel"  # said once for each channel
    if place and action.answer in TELL_CLOSED:
        place = ""
    allowed = [word for word in ("value" if signature.value else "", place, *signature.fields) if word]
    for word in sorted(action.placeholders - set(allowed)):
        known = ", ".join(f"{{{each}}}" for each in allowed) or "none"
        yield Complaint(route, f"nothing fills {{{word}}} here; allowed: {known}")
    for word in allowed:
        all_or_chosen = signature.anywhere or signature.everywhere
        single = word == place and (len(places) <= 1 or all_or_chosen)  # the only output needs no number
        if word not in action.placeholders and not single:
            yield Complaint(route, f"one of the lines must have {{{word}}}")


def value_complaints(route: Route, action: Action, signature: Signature) -> Iterator[Complaint]:
    """A value has a span in its unit and a fixed number of decimal places; nothing else has them."""
    if not signature.value:
        for key in ("span", "digits", "width", "point"):
            if key in action.model_fields_set:
                yield Complaint((*route, key), "this action takes no value", at_key=True)
        return
    if action.digits is None:
        yield Complaint(route, "'digits' is needed: how many decimal places {value} is sent with")
    if action.span is None:
        yield Complaint(route, "'span' is needed: the values the instrument accepts")
    elif action.span.unit != signature.value:
        yield Complaint((*route, "span"), f"must be in {signature.value}")


def trust_complaints(route: Route, trust: Trust, unit: str) -> Iterator[Complaint]:
    """The absolute parts are in the unit of the reading."""
    for key, amount in (("plus", trust.plus), ("resolution", trust.resolution)):
        if amount is not None and amount.unit != unit:
            yield Complaint((*route, key), f"must be in {unit}")


def range_complaints(route: Route, function: Function, unit: str) -> Iterator[Complaint]:
    """Ranges in the unit of their function, each larger than the one before."""
    last = 0.0
    for index, entry in enumerate(function.ranges):
        place: Route = (*route, "ranges", index)
        if entry.range.unit != unit:
            yield Complaint((*place, "range"), f"must be in {unit}")
        elif entry.range.value <= last:
            yield Complaint((*place, "range"), "ranges stand from the smallest up")
        else:
            last = entry.range.value
        yield from trust_complaints((*place, "trust"), entry.trust, unit)
