"""From a file to a checked model, or to every mistake of the file at once, in words a technician can act on.

The one place where the library's validation errors are turned into ours; none of its wording reaches a person. It must
not know what any key means.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

from pydantic import ValidationError

from autobench.documents.loader import Entries, Route, Scalar, Tree, scan, step_into
from autobench.documents.section import Complaint, Section
from autobench.documents.words import choice_text, closest, printable, quoted
from autobench.errors import FileError, Mistake

LONGEST_KEY = 80  # characters of a key in the words of a mistake
MOST_MISTAKES = 100

Model = TypeVar("Model", bound=Section)

# Kinds of validation errors -> our words; {value} is the text as written, the rest comes with the error.
TEXTS: dict[str, str] = {
    "model_type": "must hold keys of its own",
    "model_attributes_type": "must hold keys of its own",
    "dict_type": "must hold keys of its own",
    "mapping_type": "must hold keys of its own",
    "list_type": "must be a list",
    "tuple_type": "must be a list",
    "set_type": "must be a list",
    "frozen_set_type": "must be a list",
    "string_type": "must be a single text",
    "int_parsing": "{value} is not a whole number",
    "int_from_float": "{value} is not a whole number",
    "float_parsing": "{value} is not a number",
    "bool_parsing": "{value} is neither yes nor no",
    "string_too_long": "{value} is too long; at most {max_length} characters",
    "string_too_short": "{value} is too short; at least {min_length} characters",
    "too_short": "needs at least {min_length}, has {actual_length}",
    "too_long": "takes at most {max_length}, has {actual_length}",
    "greater_than": "{value} is too small; it must be more than {gt}",
    "greater_than_equal": "{value} is too small; at least {ge} is wanted",
    "less_than": "{value} is too large; it must be less than {lt}",
    "less_than_equal": "{value} is too large; at most {le} is allowed",
}


def read(path: str | Path, model: type[Model]) -> Model:
    """The file as a `model`; raises `FileError` with every mistake, in reading order."""
    tree, mistakes = scan(path)
    return model_of(tree, model, mistakes)


def model_of(tree: Tree, model: type[Model], mistakes: Iterable[Mistake] = ()) -> Model:
    """As `read`, for a tree at hand; `mistakes` found before are raised together with the new ones."""
    found = list(mistakes)
    data = tree.plain()
    known: dict[int, list[str]] = {}
    try:
        made = model.model_validate(data, context=known)
    except ValidationError as error:
        found += Translation(tree, data, known).mistakes(error.errors(include_url=False))
    else:
        if not found:
            return made
    raise FileError(shortened(sorted(set(found))))


def shortened(mistakes: list[Mistake]) -> list[Mistake]:
    """At most a hundred mistakes; nobody reads more, and a wrong file can have very many."""
    if len(mistakes) <= MOST_MISTAKES:
        return mistakes
    rest = Mistake(mistakes[0].file, 0, 0, f"{len(mistakes) - MOST_MISTAKES} more mistakes are not shown")
    return [*mistakes[:MOST_MISTAKES], rest]


class Translation:
    """Validation errors of one file to mistakes with lines."""

    def __init__(self, tree: Tree, data: Any, known: dict[int, list[str]]) -> None:
        self.tree = tree
        self.data = data
        self.known = known
        self.meant: set[Route] = set()  # keys that an unknown key was probably meant to be: not also "missing"

    def mistakes(self, errors: Iterable[Any]) -> list[Mistake]:
        """Every mistake; unknown keys first, since they explain missing ones."""
        ordered = sorted(errors, key=lambda error: error["type"] != "extra_forbidden")
        return [mistake for error in ordered for mistake in self.translate(error)]

    def translate(self, error: Any) -> list[Mistake]:
        kind, location = error["type"], tuple(error["loc"])
        if kind == "extra_forbidden":
            return [self.unknown_key(self.route(location))]
        if kind == "missing":
            route = (*self.route(location[:-1]), location[-1])
            return [] if route in self.meant else [self.missing_key(route)]
        route = self.route(location)
        if kind == "complaints":
            return [self.complaint(route, each) for each in error["ctx"]["complaints"]]
        if location and location[-1] == "[key]":
            place = self.tree.key_place(route)
            return [Mistake(self.tree.file, *place, f"{printable(trail(route[:-1]))}: {self.words(error, route)}")]
        node = self.tree.node(route)
        empty = isinstance(node, Scalar) and node.plain and not node.text
        text = "nothing is written here" if empty else self.words(error, route)
        return [self.tree.mistake(route, f"{printable(trail(route))}: {text}" if route else text)]

    def route(self, location: Route) -> Route:
        """The part of an error's location that is in the file (the library adds labels of its own)."""
        node, route = self.tree.root, []
        for part in location:
            below, _ = step_into(node, part)
            if below is not None:
                route.append(part)
                node = below
        return tuple(route)

    def unknown_key(self, route: Route) -> Mistake:
        key = str(route[-1])
        allowed = self.known.get(id(self.value(route[:-1])), [])
        present = self.tree.node(route[:-1])
        free = [word for word in allowed if not (isinstance(present, Entries) and present.key(word))]
        meant = closest(key, free)
        if meant is not None:
            self.meant.add((*route[:-1], meant))
        text = f"unknown key {quoted(key)}{under(route[:-1])}; {choice_text(key, allowed, free)}"
        return Mistake(self.tree.file, *self.tree.key_place(route), text)

    def missing_key(self, route: Route) -> Mistake:
        text = f"the key {quoted(str(route[-1]))} is missing{under(route[:-1])}"
        return self.tree.mistake(route[:-1], text)

    def complaint(self, route: Route, complaint: Complaint) -> Mistake:
        return mistake_of(self.tree, replace(complaint, route=(*route, *complaint.route)))

    def words(self, error: Any, route: Route) -> str:
        """Our words for one error about a value."""
        node, context = self.tree.node(route), error.get("ctx", {})
        value = node.text if isinstance(node, Scalar) else ""
        if error["type"] == "wrong text":
            return printable(str(context["text"]))
        if error["type"] in ("literal_error", "enum"):
            allowed = re.findall(r"'([^']*)'", str(context["expected"]))
            if not isinstance(node, Scalar):
                return f"must be one word; {choice_text('', allowed)}"
            return f"{quoted(str(error['input']))} is not known here; {choice_text(str(error['input']), allowed)}"
        if error["type"] in TEXTS:
            return TEXTS[error["type"]].format(value=quoted(value), **context)
        return f"{quoted(value)} is not allowed here" if isinstance(node, Scalar) else "is not allowed here"

    def value(self, route: Route) -> Any:
        value = self.data
        for part in route:
            value = value[part]
        return value


def mistake_of(tree: Tree, complaint: Complaint) -> Mistake:
    """A complaint whose route begins at the top of the file, with its place."""
    place = tree.key_place(complaint.route) if complaint.at_key else tree.place(complaint.route)
    text = f"{trail(complaint.route)}: {complaint.text}" if complaint.route else complaint.text
    return Mistake(tree.file, *place, printable(text))


def trail(route: Route) -> str:
    """`rails > +5V > current > item 2`; a key that is endlessly long is cut, or its error could not be read."""
    return " > ".join(part[:LONGEST_KEY] if isinstance(part, str) else f"item {part + 1}" for part in route)


def under(route: Route) -> str:
    """` under instruments > supply`, nothing at the top of the file."""
    return printable(f" under {trail(route)}") if route else ""
