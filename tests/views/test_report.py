"""The report: one file that fetches nothing, escapes everything, lists every reading and says what it does not say."""

from __future__ import annotations

import ast
import itertools
import math
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from autobench.diagnosis.catalogue import catalogue
from autobench.diagnosis.result import Diagnosis, NextCheck, Suspect
from autobench.documents import places
from autobench.documents.bench import Bench
from autobench.documents.board import Board
from autobench.documents.part_kinds import KINDS
from autobench.documents.reading import read
from autobench.errors import UsageError
from autobench.events import Notice, RunEnded, RunStarted
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict
from autobench.signals.trace import Trace
from autobench.views.report import report_html, write_report
from autobench.views.report_limits import marks_of
from autobench.views.report_readings import (
    CANCELLED,
    FROM_SAMPLES,
    SAME_REASON,
    budget_parts,
    small_number,
    value_with_uncertainty,
)
from autobench.views.report_words import OWNER_FAULTS, PARTS
from autobench.views.run_state import RunState

ROOT = Path(__file__).resolve().parents[2]
EVIL = "<script>alert('x')</script>\"&\x1b[2J\x07\u202e\u0000"
MOST_BYTES = 3_000_000
LIMITS = "4.75\u00a0..\u00a05.25\u00a0V"
VOID_ELEMENTS = {"meta", "br", "col"}


def reading(step: str, stage: str, net: str | None, quantity: str, verdict: Verdict = Verdict.WITHIN) -> Reading:
    """A reading of 4.9 V with limits and a budget."""
    return Reading(
        step=step,
        stage=stage,
        net=net,
        point="U1.11",
        quantity=quantity,
        value=4.9,
        unit="V",
        uncertainty=0.005,
        low=4.75,
        high=5.25,
        limit_from="board file",
        verdict=verdict,
        budget=(("gain", 0.003), ("offset", 0.004)),
    )


READINGS = (
    reading("current +5V", "power", "+5V", "current"),
    reading("rail +5V far", "rails", "+5V", "voltage"),
    reading("clock CPUCLK", "clocks", "CPUCLK", "high level", Verdict.MARGINAL).optional(),
    replace(reading("line FETCH", "cpu", "FETCH", "rate", Verdict.OUTSIDE), state="high", reason="FETCH is high"),
    replace(reading("line D0", "bus", "D0", "rate", Verdict.OUTSIDE), conditional=True),
    replace(reading("line RD", "cpu", "RD", "rate", Verdict.VOID), value=None, uncertainty=None, budget=()),
)
DIAGNOSIS = Diagnosis(
    suspects=(
        Suspect("U1", None, "cpu-dead", 0.997, ("FETCH at U1.27 is flat",), ()),
        Suspect("U6", "ROMCS", "gate-output-open", 0.002, (), ("cleared: ROMCS moves",)),
    ),
    told_apart=True,
    next_check=NextCheck("swap U1", "U1", 5.0, "it is in a socket"),
)


def run_of(readings: tuple[Reading, ...] = READINGS, *, verdict: str = "faulty", simulated: bool = True) -> RunState:
    """A run that has ended."""
    started = RunStarted(
        at=0.0,
        run="20260401-101500-abc123",
        board="tarnbeck-8",
        serial="T8-0417",
        options={"video": "late"},
        sequence="baseline",
        bench="simulated",
        simulated=simulated,
        operator="R. Holm",
        steps=tuple(item.step for item in readings),
        instruments={"supply": "ps-3 at GPIB0::5::INSTR", "relays": "w-1 at GPIB0::9::INSTR"},
        files={"/home/somebody/boards/tarnbeck-8.yaml": "ab" * 32},
        started="2026-04-01T10:15:00+00:00",
    )
    diagnosis = DIAGNOSIS if verdict == "faulty" else Diagnosis()
    return RunState(started=started, readings=readings, diagnosis=diagnosis, ended=RunEnded(9.0, verdict, None, 9.0))


GOOD = run_of(
    tuple(replace(item, verdict=Verdict.WITHIN, conditional=False, value=4.9) for item in READINGS), verdict="good"
)


@pytest.fixture(scope="module")
def board() -> Board:
    """A shipped board file."""
    return read(places.find_board("tarnbeck-8"), Board)


@pytest.fixture(scope="module")
def bench() -> Bench:
    """The shipped bench file."""
    return read(places.find_bench("simulated"), Bench)


def square(seed: int = 1) -> Trace:
    """A noisy square wave of some pulses."""
    volts = np.where(np.arange(4000) // 100 % 2, 4.0, 0.2) + np.random.default_rng(seed).normal(0, 0.02, 4000)
    return Trace(volts, 1e-8)


class Page(HTMLParser):
    """Checks nesting while it reads and keeps what the tests ask for."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.rows: list[str] = []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID_ELEMENTS:
            self.open.append(tag)
        if tag == "tr":
            self.rows.append("")

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "style" not in self.open:
            self.words.append(data)
            if "tr" in self.open:
                self.rows[-1] += f" {data}"

    @property
    def text(self) -> str:
        """All words a person sees."""
        return " ".join(" ".join(self.words).split())


@pytest.fixture(scope="module")
def html(board: Board, bench: Bench) -> str:
    """A whole report of a faulty board."""
    return report_html(
        run_of(),
        board,
        traces={("clock CPUCLK", "CPUCLK", "U1.6"): square()},
        earlier=None,
        repairs=(),
        bench=bench,
        identities={"supply": "ALDER STREET,PS-3,38213,1.0"},
    )


def test_it_is_well_formed_and_accessible(html: str) -> None:
    """Tags nest, ids are unique, headings go down one level at a time, tables have captions, pictures have words."""
    page = Page(html)
    assert page.open == []
    ids = [attributes["id"] for _, attributes in page.tags if "id" in attributes]
    assert len(ids) == len(set(ids))
    levels = [int(tag[1]) for tag, _ in page.tags if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in itertools.pairwise(levels))
    names = [tag for tag, _ in page.tags]
    assert names.count("table") == names.count("caption") == names.count("thead")
    for tag, attributes in page.tags:
        if tag == "svg":
            assert attributes.get("aria-hidden") or attributes.get("aria-label") or attributes.get("aria-labelledby")


def test_it_fetches_nothing_and_runs_nothing(html: str) -> None:
    """No address, no script, no handler; links stay inside; a policy forbids the rest."""
    page = Page(html)
    assert "http:" not in html
    assert "https:" not in html
    assert not re.search(r"@import|url\((?!#)", html)
    for tag, attributes in page.tags:
        assert tag not in ("script", "link", "iframe", "object", "embed", "img", "base", "form")
        for name, value in attributes.items():
            assert not name.startswith("on")
            if name in ("href", "xlink:href", "src"):
                assert (value or "").startswith("#")
    assert "default-src 'none'" in html


def test_links_inside_lead_somewhere(html: str) -> None:
    """Every reference to an element of the page finds it: shapes, arrows, clips and headings."""
    ids = set(re.findall(r'\bid="([^"]+)"', html))
    wanted = set(re.findall(r'href="#([^"]+)"', html)) | set(re.findall(r"url\(#([^)]+)\)", html))
    assert wanted <= ids


def test_everything_from_outside_is_escaped(board: Board, bench: Bench) -> None:
    """A script in any name ends as text, control characters and direction marks are spelt out, the page stays whole."""
    state = run_of((replace(READINGS[0], step=EVIL, net=EVIL, point=EVIL, reason=EVIL, limit_from=EVIL, stage=EVIL),))
    assert state.started is not None
    started = replace(
        state.started,
        run=EVIL,
        board=EVIL,
        serial=EVIL,
        sequence=EVIL,
        bench=EVIL,
        operator=EVIL,
        options={EVIL: EVIL},
        instruments={EVIL: EVIL},
        files={EVIL: EVIL},
        steps=(EVIL,),
    )
    suspect = Suspect(EVIL, EVIL, EVIL, 0.6, (EVIL,), (EVIL,))
    diagnosis = Diagnosis((suspect,), False, (EVIL, EVIL), NextCheck(EVIL, EVIL, 1.0, EVIL))
    state = replace(
        state,
        started=started,
        diagnosis=diagnosis,
        notices=(Notice(0.0, EVIL, urgent=True),),
        ended=RunEnded(1.0, "stopped", EVIL, 1.0),
    )
    parts = {EVIL: board.part_rows["U1"], **board.part_rows}
    evil_board = board.model_copy(update={"part_rows": parts, "words": EVIL})
    for worked_out in ("parts", "wiring"):  # from the rows there were before
        evil_board.__dict__.pop(worked_out, None)
    html = report_html(
        state,
        evil_board,
        traces={(EVIL, EVIL, EVIL): square()},
        earlier=state,
        repairs=(EVIL,),
        bench=bench,
        identities={EVIL: EVIL},
    )
    assert "<script" not in html
    assert "alert(&#39;x&#39;)" in html
    assert "\\x1b[2J\\x07\\u202e\\x00" in html
    assert {sign for sign in html if not sign.isprintable()} <= {"\n", "\u00a0"}
    assert Page(html).open == []
    assert len(html.encode()) < MOST_BYTES


def test_every_reading_is_there(html: str) -> None:
    """Each reading has a row with its step, its verdict and its limits."""
    page = Page(html)
    for item in READINGS:
        rows = [
            row
            for row in page.rows
            if item.step in row and item.verdict.value in row and "4.75 .. 5.25 V" in " ".join(row.split())
        ]
        assert rows, item.step
        assert any("conditional" in row for row in rows) == item.conditional
    assert "4.900 ± 0.010" in page.text


@pytest.mark.parametrize("simulated", [True, False])
def test_simulated_is_unmistakable(simulated: bool) -> None:
    """A simulated run says so on every page, in its title, banner and captions; a real one nowhere."""
    html = report_html(run_of(simulated=simulated), None)
    assert html.count("SIMULATED") >= 8 if simulated else "SIMULATED" not in html
    assert ("@top-center" in html) == simulated


def test_budgets_add_up() -> None:
    """The squares of the parts add up to the square of the stated uncertainty, GUM equation (11a)."""
    whole = reading("a", "rails", None, "voltage")  # 3-4-5
    assert budget_parts(whole) == (("gain", 0.003), ("offset", 0.004))
    rest = budget_parts(replace(whole, uncertainty=0.013))  # 5-12-13
    assert rest[-1][0] == FROM_SAMPLES
    assert rest[-1][1] == pytest.approx(0.012)
    less = budget_parts(replace(whole, uncertainty=0.003))
    assert less[-1][0] == CANCELLED
    for stated, parts in ((0.013, rest), (0.003, less)):
        assert math.sqrt(sum(math.copysign(part**2, part) for _, part in parts)) == pytest.approx(stated)


@pytest.mark.parametrize(
    ("value", "standard", "unit", "written"),
    [
        (100.02147, 0.000395, "V", "(100.02147 ± 0.00079) V"),  # GUM 7.2.4 in volts: both to the same place
        (4.99945, 0.00013, "V", "(4.99945 ± 0.00026) V"),  # GUM 7.2.6: U with two figures
        (14999651.1, 216.7, "Hz", "(14.99965 ± 0.00043) MHz"),
        (0.0, 170.1, "Hz", "(0 ± 340) Hz"),
        (52.797, 2.598, "%", "(52.8 ± 5.2) %"),
        (0.49999994, 5.93e-7, "", "0.4999999 ± 0.0000012"),
        (-0.0000001, 0.0498, "V", "(0 ± 100) mV"),
        (102.3, None, "ohm", "102.3 Ω"),
        (4.6e-6, 0.0, "s", "4.600 µs"),
        (math.inf, 1.0, "V", "overload"),
    ],
)
def test_values_go_with_their_uncertainty(value: float, standard: float | None, unit: str, written: str) -> None:
    """Value and expanded uncertainty share the prefix and the last place (GUM 7.2.2 and 7.2.6)."""
    assert value_with_uncertainty(value, standard, unit) == written


@pytest.mark.parametrize("ended", [RunEnded(0.1, "stopped", "the supply does not answer", 0.1), None])
def test_a_run_stopped_early_has_a_report(ended: RunEnded | None, board: Board) -> None:
    """Without a reading, a diagnosis or even an end it says that it was stopped, and judges nothing."""
    state = replace(run_of((), verdict="stopped"), ended=ended)
    text = Page(report_html(state, board)).text
    assert "The check was stopped before it was finished." in text
    assert "Nothing was measured." in text
    assert "No reading was taken." in text
    assert "No fault" not in text


def test_a_run_that_never_began_has_none() -> None:
    """Nothing can be said of it."""
    with pytest.raises(ValueError, match="started"):
        report_html(RunState(), None)


def test_page_one_tells_the_owner(html: str, board: Board) -> None:
    """What was brought, found and done, and what is not said, without the words of the trade."""
    first = html[html.index('class="owner"') : html.index("For the technician")]
    text = Page(f"<section {first}</section>".split("<section>")[0].rsplit("</section>", 1)[0] + "</section>").text
    for words in ("single-board computer", "T8-0417", "the second video chip", "1 April 2026", "R. Holm"):
        assert words in text
    assert "The board has a fault." in text
    assert "The most likely cause is the processor (U1): over 99 % by the measurements." in text
    assert "not a certificate of electrical safety" in text
    for jargon in ("FETCH", "CPU", "ROM", "class R", "k = 2", "U6", "cpu-dead", "conditional", "verdict", "rail"):
        assert jargon not in text


def test_a_group_is_told_as_one(board: Board) -> None:
    """Causes that cannot be told apart are all named to the owner, none first."""
    diagnosis = replace(DIAGNOSIS, told_apart=False, group=("U1", "U6 ROMCS", "D0"))
    text = Page(report_html(replace(run_of(), diagnosis=diagnosis), board)).text
    wanted = "the processor (U1), the address decoder chip (U6) at its connection ROMCS or the connection called D0"
    assert wanted in text
    assert "The most likely cause is" not in text


def test_before_and_after_stand_side_by_side(board: Board) -> None:
    """At most eight rows; what failed before and is in order now is said so; repairs are told."""
    html = report_html(GOOD, board, earlier=run_of(), repairs=("U1 swapped",))
    table = html[html.index("Before and after") : html.index("What was done")]
    rows = re.findall(r'<th role="rowheader".*?</tr>', table, re.DOTALL)
    assert 0 < len(rows) <= 8
    processor = next(row for row in rows if ">Processor<" in row)
    assert processor.index("not in order (1 of 2)") < processor.index("in order</span>", processor.index("Now"))
    assert "What was not in order then is in order now." in html
    assert "Repair noted: U1 swapped" in html


def test_the_owner_reads_what_healthy_boards_show(html: str) -> None:
    """A number on page one stands beside what it is on healthy boards."""
    row = next(row for row in Page(html).rows if "Supply voltages on the board" in row)
    assert " ".join(row.split()) == "Supply voltages on the board in order +5V: 4.90 V 4.75 to 5.25 V"


@pytest.mark.parametrize(
    ("verdict", "words"),
    [
        ("good", "Use the board only with a power supply that has been checked itself"),
        ("faulty", "Do not switch the board on until it has been repaired"),
        ("undecided", "Not certain: current the board draws. The reason is on the technician's page."),
        ("stopped", "The bench or the person at it ended the check, not the board."),
    ],
)
def test_the_owner_reads_what_comes_next(verdict: str, words: str) -> None:
    """Page one advises by the verdict; what stopped a run or leaves it open is told without a technician's words."""
    void = replace(READINGS[0], verdict=Verdict.VOID, reason="fits video=early")
    state = replace(run_of((void,), verdict=verdict), ended=RunEnded(9.0, verdict, "meter: no reply to *IDN?", 9.0))
    html = report_html(state, None)
    first = html[html.index('class="owner"') : html.index("For the technician")]
    assert words in Page(html).text
    assert "*IDN?" not in first
    assert "video=early" not in first


def test_a_fault_of_a_connection_is_told_in_plain_words(board: Board) -> None:
    """The owner reads what is wrong at a connection, not only what it is called."""
    diagnosis = Diagnosis(suspects=(Suspect(None, "+5V", "decoupler-short", 0.91, (), ()),))
    text = Page(report_html(replace(run_of(), diagnosis=diagnosis), board)).text
    assert "The most likely cause is a capacitor that short-circuits the +5V supply: 91 % by the measurements." in text


def test_every_kind_of_part_has_plain_words() -> None:
    """Whatever may be suspected can be told: a report that cannot be written hides the verdict."""
    assert set(PARTS) == set(KINDS)


def test_every_fault_of_a_connection_has_plain_words() -> None:
    """Whoever adds a fault that is named by its net says what the owner reads of it."""
    assert {name for name, fault in catalogue().items() if fault.by_net} == set(OWNER_FAULTS)


def test_unlikely_suspects_take_one_line(board: Board) -> None:
    """Evidence is given for suspects of at least one per cent; the others are named with what does not fit them."""
    html = report_html(run_of(), board)
    assert html.count('<article class="suspect">') == 1
    assert "Looked at as well, each with less than 1 %" in html
    assert "cleared: ROMCS moves" in html


def test_a_reason_is_given_once() -> None:
    """Readings of a stage that were skipped for one reason say so without repeating it."""
    skipped = [
        replace(reading(f"line D{number}", "bus", f"D{number}", "rate", Verdict.SKIPPED), reason="not powered")
        for number in range(4)
    ]
    text = Page(report_html(run_of(tuple(skipped)), None)).text
    assert text.count("not powered") == 1
    assert text.count(SAME_REASON) == 3


@pytest.mark.parametrize(
    ("value", "unit", "written"),
    [(5.93e-7, "", "5.9 · 10⁻⁷"), (0.0021, "", "0.0021"), (0.0, "", "0"), (1.3e-4, "V", "130 µV")],
)
def test_small_uncertainties_are_written_as_people_write_them(value: float, unit: str, written: str) -> None:
    """A power of ten has a raised exponent, the way of ISO 80000-1 clause 7 (from memory); units take prefixes."""
    assert small_number(value, unit) == written


def test_a_dark_screen_is_served_and_paper_stays_white(html: str) -> None:
    """Who reads in the dark gets light words on dark; pictures keep their white ground, and print knows no dark."""
    assert "@media screen and (prefers-color-scheme: dark)" in html
    assert "svg.trace, svg.graph { background: #fff;" in html


def test_all_stages_make_eight_rows_at_most() -> None:
    """A round with every stage still fits the owner's table."""
    stages = ("ohms", "power", "rails", "clocks", "reset", "video", "cpu", "bus", "memory")
    state = run_of(tuple(reading(f"step {stage}", stage, "N", "voltage") for stage in stages), verdict="good")
    html = report_html(state, None, earlier=state)
    table = html[html.index("Before and after") : html.index("What was done")]
    assert table.count('role="rowheader"') == 8


def test_runs_of_different_boards_are_not_compared_silently() -> None:
    """Another serial number is said aloud."""
    assert GOOD.started is not None
    other = replace(GOOD, started=replace(GOOD.started, serial="T8-9999"))
    assert "They are of different boards" in report_html(GOOD, None, earlier=other)


def test_where_the_figures_come_from(html: str) -> None:
    """Instruments with identity and calibration date, files with their hashes, the operator; no path of the machine."""
    text = Page(html).text
    for words in (
        "ALDER STREET,PS-3,38213,1.0",
        "2 March 2026",
        "no date given",
        "ab" * 32,
        "R. Holm",
        "20260401-101500-abc123",
    ):
        assert words in text
    assert "boards/tarnbeck-8.yaml" in text
    assert "somebody" not in html


def test_no_inner_word_reaches_a_person(html: str) -> None:
    """No name of a class of ours, no None, no nan, no placeholder."""
    names = {
        node.name
        for path in (ROOT / "autobench").rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.ClassDef) and re.fullmatch(r"(?:[A-Z][a-z]+){2,}", node.name)
    }
    text = Page(html).text
    assert names
    assert [name for name in sorted(names) if name in text] == []
    assert re.findall(r"\bNone\b|\bnan\b|\binf\b|\{\{|\}\}|object at 0x|told_apart", text) == []


def test_it_is_a_pure_function(board: Board, html: str, bench: Bench) -> None:
    """The same run gives the same file, to the letter."""
    again = report_html(
        run_of(),
        board,
        traces={("clock CPUCLK", "CPUCLK", "U1.6"): square()},
        bench=bench,
        identities={"supply": "ALDER STREET,PS-3,38213,1.0"},
    )
    assert again == html


def test_one_capture_is_drawn_once() -> None:
    """Two steps that looked at the same samples share a picture that names both."""
    traces = {("line FETCH", "FETCH", "U1.27"): square(), ("ratio REFRESH to FETCH", "FETCH", "U1.27"): square()}
    html = report_html(run_of(), None, traces=traces)
    assert html.count("<figure>") == 1
    assert "line FETCH; ratio REFRESH to FETCH" in html


def test_the_file_is_whole_or_not_there(tmp_path: Path) -> None:
    """A report replaces an older one as a whole; a folder that is not there is told in words."""
    path = tmp_path / "report.html"
    path.write_text("old", encoding="utf-8")
    write_report(run_of(), None, path)
    assert path.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert [item.name for item in tmp_path.iterdir()] == ["report.html"]
    with pytest.raises(UsageError, match="cannot be written"):
        write_report(run_of(), None, tmp_path / "nowhere" / "report.html")


def test_limits_are_drawn_where_they_hold(board: Board) -> None:
    """Levels of a net hold for each of its traces, a rail's volts for their step or point only, differences nowhere."""
    readings = (
        reading("clock CPUCLK", "clocks", "CPUCLK", "high level"),
        reading("rail +5V far", "rails", "+5V", "voltage"),
        reading("ripple +5V", "rails", "+5V", "ripple"),
    )
    clock = marks_of("CPUCLK", "U1.6", ["all clocks"], readings, board)
    assert [mark.volts for mark in clock] == [4.75, 5.25, 2.0, 0.8]  # the last two: NMOS data sheets, V_IH and V_IL
    assert marks_of("+5V", "U18.8", ["ripple +5V"], readings, board) == ()
    assert [mark.volts for mark in marks_of("+5V", "", ["rail +5V far"], readings, None)] == [4.75, 5.25]
    assert [mark.volts for mark in marks_of("+5V", "U1.11", ["start"], readings, None)] == [4.75, 5.25]
