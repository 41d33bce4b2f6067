"""What every reading of the round would be with an effect: from settled nets to tokens of the alphabets.

Tokens depend on the board file alone, so they are made once a board. Nothing measured is known here.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from autobench.diagnosis import cpu
from autobench.diagnosis.alphabets import UNSURE, Observable, alphabets, ratio_token
from autobench.diagnosis.board_model import BoardModel, Clock, Line, Rail, Video
from autobench.diagnosis.bus_tokens import bus_tokens, video_reads
from autobench.diagnosis.currents import current_ratio, shut_down
from autobench.diagnosis.effects import HEALTHY, Effect, RailTrouble
from autobench.diagnosis.parts import CPU_DATA
from autobench.diagnosis.rests import Rests
from autobench.diagnosis.simulation import DULL, MOVING, Settled

Tokens = dict[Observable, str]

CLOCK_WORDS = {"moving": "right", "weak": "right", "half": "half", "other": "other"}
IDLE_CLOCK = {"half-level": "threshold", "floating": "threshold", "static": "rail", "low": "rail", "high": "rail"}
RESET_WORDS = {"ok": "ok", "low": "stuck", "slow": "looping", "static": "stuck"}
SYNC_WORDS = {"moving": "right", "other": "other", "half": "other", "unprogrammed": "unprogrammed", "dead": "dead"}

TOO_MUCH = 1.35  # of nominal: from here on the supply may be switched off for it
TRIP_WORDS = {"short": "tripped", "soft short": "perhaps", "loaded": "perhaps"}
RIPPLE_WORDS = {"ripple": "high", "resistance": "raised", "loose": "raised", "flickers": "raised", "coupled": "coupled"}
VOLTS_WORDS = {
    "open": "zero", "resistance": "sagging", "short": "collapsed", "soft short": "sagging", "missing": "missing",
    "low": "low", "high": "high", "loaded": "burdened", "starved": "sagging", "loose": "flickering",
    "flickers": "flickering", "unfed short": "missing",
}  # fmt: skip
UNREAD_WORDS = {
    "half": "off-rate", "other": "off-rate", "weak": "either", "unprogrammed": "any", **dict.fromkeys(DULL, "either"),
}  # fmt: skip


class Predictor:
    """Tokens of any effect on one board, as rows of the alphabets; what effects have in common is worked out once."""

    def __init__(self, board: BoardModel) -> None:
        self.rests = Rests(board)
        self.observables = tuple(predicted(self.rests.at_rest(HEALTHY)))
        known = alphabets()
        self.rows = {each: known[each.kind].token_numbers for each in self.observables}
        self.on_nets = [(self.rows[each], self.rows[each][UNSURE]) for each, _ in tokens(self.rests.at_rest(HEALTHY))]
        self.of_nets: dict[int, list[int]] = {}
        self.of_rails: dict[tuple[RailTrouble | None, bool], dict[Observable, int]] = {}

    def ways(self, effect: Effect) -> Iterator[tuple[float, list[int], Settled]]:
        """Chance and rows of each way `effect` turns out, in the order of `observables`, and the board at rest."""
        for chance, settled in self.rests.ways(effect):
            yield chance, self.row_numbers(settled), settled

    def row_numbers(self, settled: Settled) -> list[int]:
        """The row of every token of a board at rest."""
        rails, nets = (settled.effect.rail, shut_down(settled)), id(settled.nets)
        if rails not in self.of_rails:
            self.of_rails[rails] = self.numbered(rail_tokens(settled))
        if nets not in self.of_nets:
            said = zip(tokens(settled), self.on_nets, strict=True)  # the same observables in the same order each time
            self.of_nets[nets] = [row.get(word, unsure) for (_, word), (row, unsure) in said]
        own = self.of_rails[rails] | self.numbered(current_tokens(settled))
        found = [*own.values(), *self.of_nets[nets]]
        for net in settled.effect.grounded:
            observable = Observable("low level", net)
            if observable in self.rows:
                found[self.observables.index(observable)] = self.rows[observable]["hard"]
        return found

    def numbered(self, said: Iterable[tuple[Observable, str]]) -> dict[Observable, int]:
        """Rows for words."""
        return {each: self.rows[each].get(word, self.rows[each][UNSURE]) for each, word in said}


def predicted(settled: Settled) -> Tokens:
    """The token of every observable of the board."""
    own = {**dict(rail_tokens(settled)), **dict(current_tokens(settled))}
    hard = {Observable("low level", net): "hard" for net in settled.effect.grounded if net in settled.board.lines}
    return {**own, **dict(tokens(settled)), **hard}


def tokens(settled: Settled) -> Iterator[tuple[Observable, str]]:
    """Every observable that hangs on nets and the CPU, with its token."""
    board = settled.board
    for clock in board.clocks.values():
        yield from clock_tokens(settled, clock)
    if board.reset_net is not None and board.reset_point is not None:
        word = settled.at(board.reset_point.partition(".")[0], board.reset_net)
        yield Observable("reset", board.reset_net), "interrupted" if loose(settled) else RESET_WORDS.get(word, "short")
    if board.reset_holds is not None and board.cpu is not None and board.reset_net is not None:
        # Where the line is never asserted nobody looks whether it holds anything.
        missed = settled.seen(board.cpu.name, board.cpu.reset) == "floating" != settled.nets.get(board.reset_net)
        unheld = missed and settled.state in cpu.FETCHING
        yield Observable("held", board.reset_holds), "moving" if unheld else "still"
    if board.video is not None:
        yield from video_tokens(settled, board.video)
    for line in board.lines.values():
        yield from line_tokens(settled, line)
    yield from ratio_tokens(settled)
    yield from bus_tokens(settled)
    yield from net_tokens(settled)


def current_tokens(settled: Settled) -> Iterator[tuple[Observable, str]]:
    """What each rail draws, as a share of nominal."""
    for rail in settled.board.rails.values():
        ratio, trouble = current_ratio(settled, rail), felt(settled, rail)
        yield Observable("current", rail.name), ratio_token(ratio)
        if ratio >= TOO_MUCH and (trouble is None or trouble.rail != rail.name or trouble.kind not in TRIP_WORDS):
            yield Observable("trip", rail.name), "perhaps"


def rail_tokens(settled: Settled) -> Iterator[tuple[Observable, str]]:
    """What every rail shows besides its current."""
    for rail in settled.board.rails.values():
        yield from volts_tokens(rail, felt(settled, rail))


def felt(settled: Settled, rail: Rail) -> RailTrouble | None:
    """The trouble as `rail` feels it: one made from a rail that is gone is gone too, and a short of it loads its
    source."""
    trouble = settled.effect.rail
    if trouble is not None and trouble.kind == "short" and trouble.rail == rail.name and shut_down(settled):
        return RailTrouble(rail.name, "unfed short", trouble.part)
    if trouble is None or trouble.rail == rail.name:
        return trouble
    if rail.source == trouble.rail and trouble.kind in ("open", "short", "soft short"):
        return RailTrouble(rail.name, "missing" if trouble.kind != "soft short" else "low", trouble.part)
    if rail.source == trouble.rail and trouble.kind == "loose":
        return RailTrouble(rail.name, "flickers", trouble.part)
    if rail.source == trouble.rail and trouble.kind == "resistance":
        return RailTrouble(rail.name, "starved", trouble.part)
    if trouble.kind == "ripple" and lighter(rail, settled.board.rails[trouble.rail]):
        return RailTrouble(rail.name, "coupled", trouble.part)
    if rail.name == source_of(settled, trouble.rail) and trouble.kind == "short" and not shut_down(settled):
        return RailTrouble(rail.name, "loaded", trouble.part)
    return trouble


def lighter(rail: Rail, other: Rail) -> bool:
    """Whether `rail` carries less than `other`; what the board makes itself, of unknown amps, is taken to."""
    amps = [0.0 if each.amps is None else each.amps.high or each.amps.low or 0.0 for each in (rail, other)]
    return amps[0] < amps[1]


def loose(settled: Settled) -> bool:
    """Whether the CPU's supply opens now and then, so that everything starts anew."""
    trouble, main = settled.effect.rail, settled.board.cpu
    return (
        trouble is not None
        and trouble.kind == "loose"
        and main is not None
        and trouble.rail
        in (
            main.rail,
            source_of(settled, main.rail or ""),
        )
    )


def source_of(settled: Settled, rail: str) -> str | None:
    """The rail that `rail` is made from."""
    return settled.board.rails[rail].source if rail in settled.board.rails else None


def volts_tokens(rail: Rail, trouble: RailTrouble | None) -> Iterator[tuple[Observable, str]]:
    """Ohms, trip, ripple, and the volts of every place."""
    kind = trouble.kind if trouble is not None and trouble.rail == rail.name else None
    yield (
        Observable("ohms", rail.name),
        {"short": "short", "unfed short": "short", "soft short": "low"}.get(kind or "", "ok"),
    )
    yield Observable("trip", rail.name), TRIP_WORDS.get(kind or "", "none")
    ripple = RIPPLE_WORDS.get(kind or "", "ok")
    yield Observable("ripple", rail.name), ripple
    beyond = break_index(rail, trouble.part if trouble is not None else None)
    bad = VOLTS_WORDS.get(kind or "")
    behind: dict[str, bool] = {}
    for index, place in enumerate(rail.places):
        behind[place.name] = kind in ("open", "resistance", "loose") and index >= beyond
        hit = behind[place.name] or kind in (
            "short",
            "missing",
            "low",
            "high",
            "loaded",
            "starved",
            "flickers",
            "unfed short",
        )
        hit = hit or (kind == "soft short" and index > 0)  # the supply holds its own end
        yield Observable("rail", f"{rail.name} {place.name}"), bad if hit and bad else "ok"
    for start, end in rail.drops:
        crossed = behind.get(end, False) and not behind.get(start, False)
        word = "high" if crossed else "perhaps" if kind in ("soft short", "short") else "ok"
        word = "now and then" if (crossed and kind == "loose") or kind == "flickers" else word
        yield Observable("drop", f"{rail.name} {start} {end}"), word


def break_index(rail: Rail, part: str | None) -> int:
    """Number of the first place behind a contact: the inlet's own place lies before its contact, others behind."""
    for index, place in enumerate(rail.places):
        if place.part == part:
            return index + 1 if index == 0 else index
    return 1


def clock_tokens(settled: Settled, clock: Clock) -> Iterator[tuple[Observable, str]]:
    """Frequency, ratio, duty and levels of a clock at its point."""
    word = settled.at(clock.part, clock.net)
    token = CLOCK_WORDS.get(word, "none")
    yield Observable("frequency", clock.net), token
    if clock.of is not None:
        yield Observable("clock ratio", clock.net), "other" if word == "half" else "right"
    yield Observable("duty", clock.net), "ok" if word in MOVING else UNSURE
    yield Observable("idle clock", clock.net), IDLE_CLOCK.get(word, UNSURE)
    level = "weak" if word == "weak" else "ok"
    yield Observable("clock level", clock.net), level if word in MOVING else UNSURE


def video_tokens(settled: Settled, video: Video) -> Iterator[tuple[Observable, str]]:
    """Line and field rate, pulse width, and what leaves the board."""
    line_word = settled.at(video.line_point.partition(".")[0], video.line_net)
    field_word = settled.at(video.field_point.partition(".")[0], video.field_net)
    line = SYNC_WORDS.get(line_word, "none")
    yield Observable("line rate", "sync"), line
    yield Observable("field rate", "sync"), SYNC_WORDS.get(field_word, "none")
    yield Observable("sync pulse", "sync"), line
    if video.output_net is None or video.output_point is None:
        return
    word = settled.at(video.output_point.partition(".")[0], video.output_net)
    if word in ("moving", *DULL):
        amplitude = "ok" if word == "moving" and settled.state == cpu.RUNNING else "dull"
        yield Observable("picture sync", "output"), "white" if word == "white" else "ok"
        yield Observable("picture", "output"), amplitude
        yield Observable("line rate", "output"), line
        return
    gone = "gone" if word == "unprogrammed" else "none"
    yield Observable("picture sync", "output"), "ok" if word in ("other", "half") else gone
    yield Observable("picture", "output"), "dull" if word in ("other", "half") else gone
    yield Observable("line rate", "output"), SYNC_WORDS.get(word, "none")


def line_tokens(settled: Settled, line: Line) -> Iterator[tuple[Observable, str]]:
    """State of one line at its point; of a start line how often it moved while the program started."""
    word = settled.at(line.part, line.net)
    if line.start:
        yield Observable("start", line.net), start_token(settled, word)
        return
    yield Observable("line", line.net), line_token(settled, line, word)
    yield Observable("low level", line.net), "driven"  # should it stay low


def start_token(settled: Settled, word: str) -> str:
    """Pulses of a select in the first milliseconds."""
    if settled.started and (word == "moving" or (word == "high" and settled.state == cpu.HALTED)):
        return "right"
    if settled.state in (cpu.CRASHED, cpu.ASTRAY) and word == "moving":
        return "few"
    return "none"


def line_token(settled: Settled, line: Line, word: str) -> str:
    """The token of a line's state."""
    if loose(settled) and word in MOVING and line.healthy != "any":
        return "interrupted"
    if line.net in CPU_DATA:
        return "busy" if word == "moving" and settled.state not in cpu.VARIED else word
    if line.stage == "memory":
        return memory_token(settled, line, word)
    if line.side == "address" and word == "moving" and settled.state not in cpu.VARIED:
        return "garbled address"
    if line.side == "address" and word == "low" and halted_there(settled, line.net):
        return "low or moving"
    if not refreshed_by_cpu(settled.board, line):
        return "moving" if settled.state != cpu.STOPPED else UNSURE
    if line.side == "input":
        return {"half": "off-rate", "other": "off-rate", "weak": "moving"}.get(word, word)
    known = settled.board.drivers
    return cpu.reading_of(settled.board, line, settled.state, word) if line.net in known else UNSURE


def halted_there(settled: Settled, net: str) -> bool:
    """Whether the CPU itself has `net` low since it is halted: it stands so inside the ROM, and goes to and fro between
    where it stands and what it refreshes anywhere else."""
    main = settled.board.cpu
    free = not any(held == net for held, _ in settled.effect.held)
    return (
        settled.state == cpu.HALTED
        and main is not None
        and free
        and settled.driven.get((main.name, net)) == "low"
        and ((main.name, net) not in dict(settled.effect.outputs))
    )


def memory_token(settled: Settled, line: Line, word: str) -> str:
    """The token of a line at the memory, which the video goes on reading while the CPU does nothing of sense."""
    if word not in MOVING:
        return word
    # Halted inside the ROM the CPU only refreshes: no column is strobed, and the memory's outputs rest.
    resting = settled.state == cpu.HALTED and not video_reads(settled)
    if resting and (line.side == "data" or line.net == "CAS"):
        return "floating" if line.side == "data" else "high"
    if line.side != "strobe":
        return "either" if resting else "moving"  # a refresh counter of seven bits leaves the eighth line still
    if not asked_as_usual(settled, line.net):
        return "either"  # it comes with every access, or with refresh and video alone
    if line.net == "WE":
        return "moving" if settled.state in cpu.VARIED else "garbled writes below a ceiling"
    return "moving" if settled.state in cpu.VARIED and video_reads(settled) else "either"


def asked_as_usual(settled: Settled, strobe: str) -> bool:
    """Whether what makes `strobe` is selected now and then, as by a program."""
    lines = settled.board.lines
    makers = [part for part in settled.board.parts.values() if strobe in part.drives]
    selects = [(maker.name, net) for maker in makers for net in maker.listens if net in lines]
    return all(settled.seen(name, net) in MOVING for name, net in selects if lines[net].side == "select")


def refreshed_by_cpu(board: BoardModel, line: Line) -> bool:
    """False for a refresh read away from the CPU where another part refreshes: it says nothing about the CPU."""
    return line.net != "REFRESH" or board.own_refresh or board.architecture.get("refresh source") == "cpu"


def ratio_tokens(settled: Settled) -> Iterator[tuple[Observable, str]]:
    """Ratios of strobes: exact ones of the board file, and the two that tell what the CPU executes."""
    for of, to in settled.board.ratios:
        # What writes are to fetches is foretold below, finer than by limits.
        nets = settled.board.cpu_nets
        known = settled.state in cpu.FETCHING and {of, to} != {nets.write, nets.fetch}
        yield Observable("ratio", f"{of} to {to}"), "right" if known else UNSURE
    once = settled.board.cpu_class == "S"
    writes = cpu.WRITES_TO_SYNCS if once else cpu.WRITES_TO_FETCHES
    yield Observable("writes to fetches", "cpu"), writes.get(settled.state, UNSURE)
    table = cpu.CLOCKS_TO_SYNCS if once else cpu.STRETCHED if settled.board.waits else cpu.CLOCKS_TO_FETCHES
    yield Observable("clocks to fetches", "cpu"), table.get(settled.state, UNSURE)


def net_tokens(settled: Settled) -> Iterator[tuple[Observable, str]]:
    """Nets that the round does not read, at the part that drives them: for next checks."""
    moving = "garbled" if settled.state == cpu.CRASHED else "either"
    for part, net in settled.board.unread:
        word = settled.at(part, net)
        yield Observable("line", f"{part} {net}"), moving if word == "moving" else UNREAD_WORDS.get(word, word)
