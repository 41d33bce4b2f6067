"""The shipped driver files, and the page that explains how to write one, against the models they are read by."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from autobench.documents.driver import Driver
from autobench.documents.driver_contacts import Contacts
from autobench.documents.driver_counts import CounterTrust, Counts
from autobench.documents.driver_recognition import Recognition
from autobench.documents.driver_roles import DECODERS, ROLES
from autobench.documents.driver_samples import Divisions, Samples, ScopeTrust
from autobench.documents.driver_sections import (
    Action,
    Conversation,
    Function,
    Measures,
    MeterRange,
    Outputs,
    Prompts,
    SpeedNames,
    Speeds,
    Trust,
    Wait,
)
from autobench.documents.places import folder, list_drivers
from autobench.documents.reading import read
from autobench.documents.section import Section
from tests.drivers.meetings import TRANSPORTS
from tests.drivers.test_every_transport import COUNTERS, METERS, RELAYS, SCOPES, SUPPLIES

README = folder("drivers") / "README.md"
FOLDERS = {"supply": "supplies", "meter": "meters", "relays": "relays", "scope": "scopes", "counter": "counters"}
SHIPPED = pytest.mark.parametrize("path", [path for _, path in list_drivers()], ids=lambda path: path.stem)
CODE = re.compile(r"`([^`]+)`")


def table(heading: str) -> list[list[str]]:
    """The rows (cells) of the table whose header line starts with `heading`."""
    lines = README.read_text(encoding="utf-8").splitlines()
    start = next(index for index, line in enumerate(lines) if line.startswith(heading))
    rows = []
    for line in lines[start + 2 :]:
        if not line.startswith("|"):
            break
        rows.append([cell.strip() for cell in line.strip("|").split("|")])
    return rows


def section(title: str) -> str:
    """The text under one heading, up to the next."""
    text = README.read_text(encoding="utf-8")
    after = text.split(f"\n{title}\n", 1)[1]
    return re.split(r"\n#+ ", after, maxsplit=1)[0]


def first_keys(rows: list[list[str]]) -> list[str]:
    """Everything in code marks in the first column."""
    return [word for row in rows for word in CODE.findall(row[0])]


@SHIPPED
def test_a_shipped_driver_is_whole(path: Path) -> None:
    """Every shipped file is read without a mistake, under its own name, in the folder of its kind."""
    driver = read(path, Driver)
    assert driver.driver == path.stem
    assert path.parent.name == FOLDERS[driver.kind]


@SHIPPED
def test_a_shipped_driver_says_nothing_but_plain_units(path: Path) -> None:
    """No line sends a unit suffix after a value: `M` means mega in some places and milli in others."""
    for action in read(path, Driver).actions.values():
        for line in action.lines:
            # IEEE 488.2, 7.7.3: a suffix follows its number directly or after a space
            assert not re.search(r"\{(value|range|cycles|count|factor|points|point)\}\s*[A-Za-z]", line)


def test_what_the_shipped_drivers_lack() -> None:
    """What a dialect cannot do is said by name, for a bench file to accept; those of the shipped bench lack nothing."""
    lacking = {path.stem: read(path, Driver).missing() for _, path in list_drivers()}
    scopes = ("o-1a", "o-1b", "o-2", "o-3a", "o-3b")
    relays = ("w-1", "w-2", "w-3", "w-4")
    whole = dict.fromkeys(("k-1", "k-2", "m-1", *scopes, "ps-1", "ps-2", "ps-3", "ps-4", "ps-7", *relays), ())
    lame = {
        "m-2": ("fixed input",),
        "ps-5": ("trip",),
        "ps-6": (*(f"{what} read-back" for what in ("volts", "amps", "trip", "on")), "tripped flag", "trip release"),
    }
    assert lacking == whole | lame


@pytest.mark.parametrize(
    ("title", "model"),
    [
        ("## The file", Driver),
        ("### `link`", Conversation),
        ("### An action", Action),
        ("### `recognised by`", Recognition),
        ("### `outputs` of a supply", Outputs),
        ("### `measures` of a meter", Measures),
        ("### `channels` of a relay multiplexer", Contacts),
        ("### `samples` of a scope", Samples),
        ("### `counts` of a counter", Counts),
    ],
)
def test_the_page_explains_every_key_of_a_section_and_no_other(title: str, model: type[Section]) -> None:
    """The table of keys under each heading and the model have the same keys."""
    lines = section(title).splitlines()
    start = next(index for index, line in enumerate(lines) if line.startswith("| key |"))
    rows = lines[start + 2 :]
    rows = rows[: next((index for index, line in enumerate(rows) if not line.startswith("|")), len(rows))]
    explained = first_keys([row.strip("|").split("|") for row in rows])
    assert sorted(explained) == sorted(model.key_names())


@pytest.mark.parametrize(
    ("heading", "known"),
    [
        ("| `answer` | reads", list(DECODERS)),
        ("| `wait` | does", Wait.key_names()),
        ("| `trust` | adds", Trust.key_names()),
    ],
)
def test_the_page_explains_every_answer_wait_and_trust(heading: str, known: list[str]) -> None:
    """The smaller tables are complete too."""
    assert sorted(first_keys(table(heading))) == sorted(known)


def test_the_page_names_the_keys_of_a_meters_ranges() -> None:
    """Keys that stand in running text are there as well."""
    text = section("### `measures` of a meter")
    named = set(CODE.findall(text))
    for model in (Function, MeterRange, Speeds, SpeedNames):
        assert set(model.key_names()) <= named


def test_the_page_names_the_keys_of_prompts() -> None:
    """So are those of an instrument that prompts."""
    assert set(Prompts.key_names()) <= set(CODE.findall(section("### `link`")))


def test_the_page_names_the_keys_within_a_scopes_section() -> None:
    """So are those of its divisions and of its accuracy."""
    named = set(CODE.findall(section("### `samples` of a scope")))
    for model in (Divisions, ScopeTrust):
        assert set(model.key_names()) <= named


def test_the_page_names_the_keys_of_a_counters_accuracy() -> None:
    """So are those of a counter."""
    assert set(CounterTrust.key_names()) <= set(CODE.findall(section("### `counts` of a counter")))


@pytest.mark.parametrize("kind", list(ROLES))
def test_the_page_lists_every_action_with_its_rule(kind: str) -> None:
    """Must or may, the placeholders and the name of what is lacking stand in the table as in the program."""
    found: dict[str, tuple[bool, set[str], str]] = {}
    for names, rule, placeholders, lack in table(f"| {kind} | |"):
        for name in CODE.findall(names):
            words = set(CODE.findall(placeholders))
            found[name] = (rule.startswith("must"), words, "".join(CODE.findall(lack)))
    wanted = {}
    for name, signature in ROLES[kind].items():
        words = {f"{{{word}}}" for word in (signature.place, *signature.fields) if word}
        wanted[name] = (signature.required, words | ({"{value}"} if signature.value else set()), signature.lack)
    assert found == wanted


def test_the_page_says_what_was_tried_on_which_transport() -> None:
    """The table of transports is what the conformance tests really go through, no more and no less."""
    told = {
        (CODE.findall(row[0])[0], transport)
        for row in table("| driver | in process |")
        for transport, cell in zip(TRANSPORTS, row[1:], strict=False)
        if cell.startswith("tried")
    }
    assert told == {*SUPPLIES, *METERS, *SCOPES, *COUNTERS, *RELAYS}
    assert all(row[6:] == ["untested here"] for row in table("| driver | in process |"))
