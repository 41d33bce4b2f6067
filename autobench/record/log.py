"""The event log read back: rows of the record become the events they were, so that any view can show an old run.

Fields that a later autobench added take their default, fields it no longer has are left out, kinds it does not know are
passed over. Samples of traces are not here (see `history.traces_of`). It writes nothing and folds nothing.
"""

from __future__ import annotations

import json
import types
import typing
from collections.abc import Iterable, Iterator
from dataclasses import MISSING, fields, is_dataclass
from enum import Enum
from functools import cache
from typing import Any

from sqlalchemy import Engine, select
from sqlalchemy.exc import SQLAlchemyError

from autobench import events
from autobench.errors import RecordError
from autobench.record import schema
from autobench.record.store import first_line

# Kinds that no view folds and that are most of the log: conversations with instruments, looks of the watch.
BULK = ("Exchanged", "Watched")


def read_events(engine: Engine, run: str, *, bulk: bool = False) -> list[events.Event]:
    """The events of `run` in order; with `bulk` also exchanges and looks of the watch.

    Raises `RecordError` if the record cannot be read or holds an event that makes no sense.
    """
    table = schema.events
    wanted = select(table.c.kind, table.c.at, table.c.data).where(table.c.run == run).order_by(table.c.number)
    if not bulk:
        wanted = wanted.where(table.c.kind.not_in(BULK))
    try:
        with engine.connect() as connection:
            rows = connection.execute(wanted).all()
    except SQLAlchemyError as error:
        raise RecordError(f"the record cannot be read: {first_line(error)}") from error
    return list(events_of((kind, at, data) for kind, at, data in rows))


def events_of(rows: Iterable[tuple[str, float, str]]) -> Iterator[events.Event]:
    """Events from (kind, at, JSON); raises `RecordError` for one that makes no sense."""
    for kind, at, data in rows:
        known = getattr(events, kind, None)
        if not (isinstance(known, type) and issubclass(known, events.Event)):
            continue
        try:
            yield rebuilt(known, json.loads(data) | {"at": at})
        except (TypeError, ValueError, KeyError, AttributeError) as error:
            raise RecordError(f"the record is damaged: an entry of kind {kind} cannot be read") from error


@cache
def field_types(kind: type) -> dict[str, Any]:
    """Name to type of a dataclass's fields, with the words of annotations resolved."""
    return typing.get_type_hints(kind)


def rebuilt(wanted: Any, value: Any) -> Any:
    """`value` (from JSON) as the annotated type `wanted`; the inverse of `autobench.events.plain`."""
    origin, inner = typing.get_origin(wanted), typing.get_args(wanted)
    if origin in (typing.Union, types.UnionType):
        if value is None:
            return None
        return rebuilt(next(kind for kind in inner if kind is not types.NoneType), value)
    if origin is tuple:
        if len(inner) == 2 and inner[1] is Ellipsis:
            return tuple(rebuilt(inner[0], item) for item in value)
        return tuple(rebuilt(kind, item) for kind, item in zip(inner, value, strict=True))
    if origin is dict:
        return {key: rebuilt(inner[1], item) for key, item in value.items()}
    if isinstance(wanted, type) and is_dataclass(wanted):
        return rebuilt_fields(wanted, value)
    if isinstance(wanted, type) and issubclass(wanted, Enum):
        return wanted(value)
    return value


def rebuilt_fields(wanted: type, value: dict[str, Any]) -> Any:
    """A dataclass from its fields; bytes, which the log never holds, come back empty."""
    known = field_types(wanted)
    given = {item.name: rebuilt(known[item.name], value[item.name]) for item in fields(wanted) if item.name in value}
    for item in fields(wanted):
        needed = item.default is MISSING and item.default_factory is MISSING
        if item.name not in given and needed and known[item.name] is bytes:
            given[item.name] = b""
    return wanted(**given)
