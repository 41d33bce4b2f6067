"""The `signals:` section of a circuit file into `Signals`."""

from __future__ import annotations

from collections.abc import Collection

from simulated_instruments.board.document import Entry
from simulated_instruments.board.signals import FIXED, PROGRAMMABLE, RamPlan, Signals, VideoTiming
from simulated_instruments.board.work import CODES, CODES_CLASS_S


def read_signals(entry: Entry) -> Signals:
    """The logic of a circuit; raises `FileError`."""
    entry.only("cpu", "master", "divided", "cpu clock", "waits", "controller writes", "video", "memory", "firmware")
    master = entry["master"]
    master.only("net", "frequency", "spread")
    divided = {net: ratio.whole() for net, ratio in entry["divided"].pairs()}
    cpu_clock, waits, writes = entry["cpu clock"], entry.get("waits"), entry.get("controller writes")
    if cpu_clock.words() not in divided:
        raise cpu_clock.wrong(f"'{cpu_clock.text}' is not one of the divided clocks {', '.join(divided)}")
    firmware = entry["firmware"]
    firmware.only("rest", "start up", "mix")
    cpu = entry.get("cpu")
    if cpu and cpu.words() not in ("R", "S"):
        raise cpu.wrong(f"'{cpu.text}' is no class of CPU the simulator has; it has R and S")
    known = CODES_CLASS_S if cpu and cpu.words() == "S" else CODES
    return Signals(
        master=master["frequency"].number("Hz"),
        master_net=master["net"].words(),
        spread=master["spread"].number("ppm") * 1e-6,
        divided=divided,
        cpu_clock=cpu_clock.words(),
        aligned=waits.whole() if waits else 0,
        registers=read_pair(writes) if writes else (0, 0),
        video=read_video(entry["video"], divided),
        mix={name: read_weight(name, share, known) for name, share in firmware["mix"].pairs()},
        rest=firmware["rest"].number("%") / 100.0,
        boot=firmware["start up"].number("s"),
        cpu=cpu.words() if cpu else "R",
        ram=read_ram(memory) if (memory := entry.get("memory")) else None,
    )


def read_ram(entry: Entry) -> RamPlan:
    """How the RAM's time is shared: `{lines: 8, slots: 1, video every: 8, video at: 0, refresh: cpu}` (CPU clocks)."""
    entry.only("lines", "slots", "video every", "video at", "refresh")
    refresh, slots = entry["refresh"], entry["slots"].whole()
    if refresh.words() not in ("cpu", "video"):
        raise refresh.wrong(f"'{refresh.text}' is neither cpu nor video")
    if slots not in (1, 2):
        raise entry["slots"].wrong("a clock has one slot, or two, the second of them the video's own")
    return RamPlan(
        lines=entry["lines"].whole(),
        slot=1.0 / slots,
        every=entry["video every"].whole(),
        at=entry["video at"].whole(),
        refresh=refresh.words(),
        every_phase=slots == 2,
    )


def read_video(entry: Entry, divided: dict[str, int]) -> VideoTiming:
    """One field, in periods of its clock."""
    entry.only("timing", "clock", "line", "lines", "pulse", "broad", "field lines", "interrupt", "picture")
    kind, clock, shown = entry["timing"], entry["clock"], entry["picture"]
    if kind.words() not in (FIXED, PROGRAMMABLE):
        raise kind.wrong(f"'{kind.text}' is neither {FIXED} nor {PROGRAMMABLE}")
    if clock.words() not in divided:
        raise clock.wrong(f"'{clock.text}' is not one of the divided clocks {', '.join(divided)}")
    shown.only("dots", "first", "wide", "top", "tall")
    return VideoTiming(
        kind=kind.words(),
        clock=clock.words(),
        line=entry["line"].whole(),
        lines=entry["lines"].whole(),
        pulse=entry["pulse"].number(""),
        broad=entry["broad"].number(""),
        field_lines=entry["field lines"].whole(),
        interrupt=entry["interrupt"].number(""),
        dots=shown["dots"].whole(),
        first=shown["first"].whole(),
        wide=shown["wide"].whole(),
        top=shown["top"].whole(),
        tall=shown["tall"].whole(),
    )


def read_weight(name: str, entry: Entry, known: Collection[str]) -> float:
    """The share of one kind of work."""
    if name not in known:
        raise entry.wrong(f"unknown work; known are {', '.join(known)}")
    share = entry.number("")
    if share < 0.0:
        raise entry.wrong("a share cannot be less than 0")
    return share


def read_pair(entry: Entry) -> tuple[int, int]:
    """Two whole numbers, `14 .. 18`."""
    low, mark, high = (word.strip() for word in entry.words().partition(".."))
    if not (mark and low.isdigit() and high.isdigit() and int(low) <= int(high)):
        raise entry.wrong(f"'{entry.text}' is not a span of whole numbers, such as '14 .. 18'")
    return int(low), int(high)
