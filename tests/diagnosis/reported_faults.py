"""What repairers report of each fault, as changes to a healthy round: written apart from the prediction code."""

from __future__ import annotations

from collections.abc import Callable

from tests.diagnosis.rounds import Round


def master_clock_dead(seen: Round) -> None:
    """No clock anywhere: the large chips idle, the CPU stands."""
    seen.amps("+5V", 0.70, 0.82)
    for name in seen.board.clocks:
        seen.clock_gone(name)
    seen.no_sync()
    seen.no_sync("video output")
    seen.cpu_still()


def divider_dead(seen: Round) -> None:
    """The master runs, a clock made of it does not; which one differs from board to board."""
    seen.amps("+5V", 0.75, 0.95)
    made = [name for name in seen.board.clocks if seen.board.ratio(name) is not None]
    for name in made if seen.seed % 3 == 0 else [made[seen.seed % len(made)]]:
        seen.clock_gone(name)


def reset_stuck(seen: Round) -> None:
    """Never released: the CPU's strobes are inactive."""
    seen.amps("+5V", 0.88, 0.94)
    reset = seen.seen[("reset", "reset width")]
    reset.value, reset.state = 0.0, "low"
    seen.cpu_still("high")
    seen.wild_video()


def cpu_dead(seen: Round) -> None:
    """All it needs is there, nothing comes."""
    seen.amps("+5V", 0.88, 0.97)
    seen.cpu_still()
    seen.wild_video()


def fetch_strobe_dead(seen: Round) -> None:
    """One strobe at a level, all else as it was."""
    seen.still("FETCH", ["low", "floating", "high"][seen.seed % 3])
    seen.seen.pop(("ratio REFRESH to FETCH", "ratio"), None)


def rom_not_driving(seen: Round) -> None:
    """The bus reads all ones."""
    seen.amps("+5V", 0.95, 1.0)
    seen.cpu_loops_on_ones(11 if seen.board.architecture.wait_source == "none" else 16)
    seen.wild_video()


def decoder_dead(seen: Round) -> None:
    """No select ever comes, so the bus reads all ones; or all come at once, and the program goes astray."""
    if seen.seed % 3 == 2:
        seen.amps("+5V", 1.04, 1.14)
        seen.wild_video()
        for name, hertz in (("FETCH", 400e3), ("REFRESH", 400e3), ("WR", 210e3)):
            seen.runs(name, hertz)
    else:
        rom_not_driving(seen)
    for name in ("ROMCS", "RAMCS", "CRTCCS"):
        if (f"line {name}", "rate") in seen.seen:
            seen.still(name, "low" if seen.seed % 3 == 2 else "high")


def video_chip_dead(seen: Round) -> None:
    """No sync, no picture, no interrupt from it, for which the program waits or not."""
    seen.amps("+5V", 0.78, 0.9)
    seen.no_sync()
    seen.no_sync("video output")
    seen.still("INT", "high")
    if seen.seed % 2:
        seen.cpu_waits_in_a_halt()


def sync_output_dead(seen: Round) -> None:
    """Sync inside, none outside."""
    seen.no_sync("video output")


def video_controller_dead(seen: Round) -> None:
    """Written to, and silent; the program waits for its interrupt or not."""
    seen.amps("+5V", 0.93, 0.98)
    seen.no_sync()
    seen.no_sync("video output")
    seen.still("INT", "high")
    if seen.seed % 2:
        seen.cpu_waits_in_a_halt()


def data_line_short(seen: Round) -> None:
    """One line down, lower than any output pulls it, the program astray, or halted where it went."""
    seen.amps("+5V", 1.0, 1.06)
    seen.still("D3", "low", volts=0.04)
    if seen.seed % 2:
        seen.cpu_waits_in_a_halt()
        return
    for name, hertz in (("FETCH", 500e3), ("REFRESH", 500e3), ("MEMREQ", 1.2e6), ("RD", 700e3), ("WR", 250e3)):
        seen.runs(name, hertz)


def bus_contention(seen: Round) -> None:
    """Outputs fight: more current, the program astray; now and then a line stands half-way."""
    seen.amps("+5V", 1.06, 1.2)
    for name, hertz in (("FETCH", 650e3), ("REFRESH", 650e3), ("WR", 320e3), ("ROMCS", 1.2e6)):
        seen.runs(name, hertz)
    if seen.seed % 2:
        seen.still("D7", "half-level")


def decoupler_short(seen: Round) -> None:
    """The ohms gate refuses power: nothing else is read."""
    seen.seen = {key: value for key, value in seen.seen.items() if value.stage == "ohms"}
    seen.seen[("ohms +5V", "resistance")].value = 0.4


def inlet_open(seen: Round) -> None:
    """Volts at the plug and none behind."""
    seen.seen = {key: value for key, value in seen.seen.items() if value.stage in ("ohms", "power", "rails")}
    seen.amps("+5V", 0.0, 0.001)
    for key, value in seen.seen.items():
        if key[0].startswith("rail +5V") and not key[0].endswith("inlet"):
            value.value = 0.0


FAULTS: dict[str, Callable[[Round], None]] = {
    fault.__name__.replace("_", "-"): fault
    for fault in (
        master_clock_dead, divider_dead, reset_stuck, cpu_dead, fetch_strobe_dead, rom_not_driving, decoder_dead,
        video_chip_dead, sync_output_dead, video_controller_dead, data_line_short, bus_contention, decoupler_short,
        inlet_open,
    )
}  # fmt: skip
