"""What a net that is held, or a leg that touches nothing, means for the rest of the board: by what the net is for.

Nothing here knows a reading: it fills in the condition of a specimen, and every waveform follows from that.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from simulated_instruments.board.condition import OPEN_OUTPUT, STUCK_HIGH, STUCK_LOW, Condition

if TYPE_CHECKING:  # a list of faults needs no arithmetic
    from simulated_instruments.board.assembly import Assembly
    from simulated_instruments.board.circuit import Part

SHORTED = 4  # the code of `levels`: held by a short, lower than any output does
LOWS = (STUCK_LOW, SHORTED)
ALL_BITS = 0xFF
MASKS = {"D": ("low", "high"), "A": ("address_low", "address_high"), "M": ("ram_low", "ram_high")}
Held = Callable[[Condition, bool], None]  # what a net held low (True) or high does


def bit_of(net: str, letter: str) -> int | None:
    """The mask of a bus line such as `D3`, None for any other net."""
    return 1 << int(net[len(letter) :]) if net.startswith(letter) and net[len(letter) :].isdigit() else None


def hold(assembly: Assembly, net: str, code: int) -> None:
    """`net` is held at `code` for everybody; an open output lets it float, which inputs take for a high."""
    condition = assembly.condition
    condition.held[net] = code
    low = code in LOWS
    for letter, masks in MASKS.items():
        bit = bit_of(net, letter)
        if bit is not None:
            condition.spoil(**{masks[0] if low else masks[1]: bit})
            return
    signals = assembly.circuit.signals
    if signals is not None and net in signals.divided:
        condition.branches[net], condition.branch_code = 0.0, code
    rule = RULES.get(net)
    if rule is not None:
        rule(condition, low)


def select_rom(condition: Condition, low: bool) -> None:
    """A ROM that is always selected answers everything read; one that never is answers nothing."""
    condition.rom_always = condition.rom_always or low
    condition.rom_dead = condition.rom_dead or not low


def select_ram(condition: Condition, low: bool) -> None:
    """The same for the buffer from RAM."""
    condition.buffer_always_on = condition.buffer_always_on or low
    condition.ram_silent = condition.ram_silent or not low


def request(condition: Condition, low: bool) -> None:
    """Without MEMREQ (or φ2) nothing is selected; with it low for ever the memory gets no strobes."""
    if low:
        condition.ram_silent = True
    else:
        condition.decoder = "none"


def phase(condition: Condition, low: bool) -> None:  # noqa: ARG001 (either way no cycle is ever opened)
    """Without φ2 no access is ever opened."""
    condition.decoder = "none"


def read_strobe(condition: Condition, low: bool) -> None:
    """Read for ever, the buffer always drives; never, nobody does."""
    if low:
        condition.buffer_always_on = True
    else:
        condition.rom_dead = condition.ram_silent = True


def write_strobe(condition: Condition, low: bool) -> None:  # noqa: ARG001 (memory keeps nothing either way)
    """Nothing is written, or everything."""
    condition.ram_scrambled = condition.unwritten = True


def read_or_write(condition: Condition, low: bool) -> None:
    """A CPU of class S says with one line what it wants: low for ever, nothing is ever read."""
    if low:
        condition.rom_dead = condition.ram_silent = True
    else:
        condition.ram_scrambled = condition.unwritten = True


def refresh(condition: Condition, low: bool) -> None:  # noqa: ARG001 (rows are not refreshed either way)
    """Memory that is not refreshed forgets."""
    condition.ram_scrambled = True


def reset(condition: Condition, low: bool) -> None:
    """Held in reset, or never reset."""
    if low:
        condition.reset_stuck = True
    else:
        condition.unreset = True


def interrupt(condition: Condition, low: bool) -> None:
    """An interrupt that never ends, or never comes."""
    if low:
        condition.stormed = True
    else:
        condition.uninterrupted = True


def controller(condition: Condition, low: bool) -> None:  # noqa: ARG001 (selected for ever, it gets rubbish)
    """The video controller, which is reached by I/O, is never written to, or with rubbish."""
    condition.unwritten = True


def strobes(condition: Condition, low: bool) -> None:  # noqa: ARG001
    """Memory without a strobe never answers."""
    condition.ram_silent = True


def scrambles(condition: Condition, low: bool) -> None:  # noqa: ARG001
    """Memory answers from other cells, or keeps nothing."""
    condition.ram_scrambled = True


RULES: dict[str, Held] = {
    "ROMCS": select_rom, "RAMCS": select_ram, "CRTCCS": controller, "IORQ": controller, "MEMREQ": request,
    "PHI2": phase, "RD": read_strobe, "WR": write_strobe, "RW": read_or_write, "REFRESH": refresh, "RESET": reset,
    "RES": reset, "INT": interrupt, "IRQ": interrupt, "RAS": strobes, "CAS": strobes, "WE": scrambles,
    **{f"MA{bit}": scrambles for bit in range(8)},
}  # fmt: skip


def outputs_of(chip: Part) -> list[str]:
    """The data nets of a memory chip: lines of its own behind a buffer, or the data bus itself."""
    nets = chip.logic.values()
    return [net for net in nets if bit_of(net, "M") is not None or bit_of(net, "D") is not None]


def answer(assembly: Assembly, net: str, code: int) -> None:
    """What a memory chip's output does on `net` whenever the chip is read; on the data bus nobody else minds."""
    bit = bit_of(net, "D")
    if bit is None:
        hold(assembly, net, code)
    else:
        assembly.condition.spoil(**{"ram_low" if code in LOWS else "ram_high": bit})


def cut(assembly: Assembly, part: Part, net: str, in_socket: bool) -> None:
    """The leg of `part` on `net` touches nothing: a driver's net floats, a listener takes what floats for a high."""
    condition = assembly.condition
    condition.cut[(part.name, net)] = in_socket
    letters = [letter for letter in ("D", "A", "M") if bit_of(net, letter) is not None]
    if letters:
        bus_leg(assembly, part, net, letters[0], bit_of(net, letters[0]) or 0)
    elif net in drives(assembly, part):
        hold(assembly, net, OPEN_OUTPUT)
    elif part.kind == "dram" and net in ("RAS", "CAS", "RAMCS"):
        for own in outputs_of(part):  # the chip answers nothing
            answer(assembly, own, OPEN_OUTPUT)
    else:
        LISTENERS.get(part.kind, nothing)(condition, assembly, net)


def bus_leg(assembly: Assembly, part: Part, net: str, letter: str, bit: int) -> None:
    """A leg on a line of a bus, by who it belongs to."""
    condition = assembly.condition
    if part.kind == "cpu" and letter == "A":
        hold(assembly, net, OPEN_OUTPUT)
    elif part.kind == "cpu":
        condition.spoil(open_pins=bit)  # its own reads alone: ROM and RAM drive the net as before
    elif part.kind == "rom" and letter == "A":
        condition.spoil(rom_address_high=bit)
    elif part.kind == "rom":
        condition.spoil(rom_high=bit)
    elif part.kind == "decoder":
        condition.spoil(decoder_high=bit)
    elif part.kind == "mux" or (part.kind == "dram" and letter == "A"):
        condition.ram_scrambled = True
    elif part.kind == "dram":
        answer(assembly, net, OPEN_OUTPUT)
    elif part.kind == "data buffer":
        condition.spoil(ram_high=bit)


def drives(assembly: Assembly, part: Part) -> frozenset[str]:
    """The single nets that `part` drives, by its kind."""
    signals = assembly.circuit.signals
    divided = frozenset(signals.divided) if signals else frozenset()
    master = frozenset({signals.master_net}) if signals else frozenset()
    found = DRIVES.get(part.kind, frozenset())
    if part.kind in ("divider", "gate array"):
        found |= divided
    if part.kind == "oscillator":
        found |= master
    return found & frozenset(part.logic.values())


def nothing(condition: Condition, assembly: Assembly, net: str) -> None:
    """An input that is as well high."""


def cpu_leg(condition: Condition, assembly: Assembly, net: str) -> None:
    """An input of the CPU."""
    signals = assembly.circuit.signals
    if signals is not None and net == signals.cpu_clock:
        condition.clockless = True
    elif net in ("RESET", "RES"):
        condition.unreset = True
    elif net in ("INT", "IRQ"):
        condition.uninterrupted = True


def rom_leg(condition: Condition, assembly: Assembly, net: str) -> None:  # noqa: ARG001
    """Select or enable of the ROM."""
    condition.rom_dead = True  # its select or its enable


def decoder_leg(condition: Condition, assembly: Assembly, net: str) -> None:  # noqa: ARG001
    """An input of the decoder."""
    if net in ("MEMREQ", "PHI2"):
        condition.decoder = "none"
    else:
        condition.unwritten = True


def buffer_leg(condition: Condition, assembly: Assembly, net: str) -> None:  # noqa: ARG001
    """An enable of the data buffer."""
    condition.spoil(ram_high=ALL_BITS)  # never enabled


def gates_leg(condition: Condition, assembly: Assembly, net: str) -> None:  # noqa: ARG001
    """An input of the strobe gates: without its request the CPU gets nothing from the memory."""
    if net in ("WR", "RW", "REFRESH"):
        condition.ram_scrambled = True
    elif net != "FETCH":
        condition.ram_silent = True


def memory_leg(condition: Condition, assembly: Assembly, net: str) -> None:  # noqa: ARG001
    """An address of a memory chip, or its write strobe."""
    condition.ram_scrambled = True


def video_leg(condition: Condition, assembly: Assembly, net: str) -> None:
    """An input of the video chip or controller."""
    signals = assembly.circuit.signals
    if signals is not None and net == signals.video.clock:
        condition.video_dead = True
    elif net == "CRTCCS":
        condition.unwritten = True


def divider_leg(condition: Condition, assembly: Assembly, net: str) -> None:
    """The input of a divider."""
    signals = assembly.circuit.signals
    if signals is not None and net == signals.master_net:
        condition.branches.update(dict.fromkeys(signals.divided, 0.0))


def stage_leg(condition: Condition, assembly: Assembly, net: str) -> None:  # noqa: ARG001
    """An input of the output stage."""
    condition.seen[net] = STUCK_HIGH


LISTENERS: dict[str, Callable[[Condition, Assembly, str], None]] = {
    "cpu": cpu_leg, "rom": rom_leg, "decoder": decoder_leg, "data buffer": buffer_leg, "gates": gates_leg,
    "dram": memory_leg, "video": video_leg, "video controller": video_leg, "divider": divider_leg,
    "gate array": divider_leg, "video output": stage_leg, "mux": memory_leg,
}  # fmt: skip
DRIVES: dict[str, frozenset[str]] = {
    "cpu": frozenset({"FETCH", "MEMREQ", "IORQ", "RD", "WR", "REFRESH", "HALT", "BUSAK", "SYNC", "RW", "PHI1", "PHI2"}),
    "decoder": frozenset({"ROMCS", "RAMCS", "CRTCCS", "IOCS"}),
    "reset timer": frozenset({"RESET", "RES"}),
    "reset supervisor": frozenset({"RESET", "RES"}),
    "video": frozenset({"CSYNC", "PICTURE", "INT", "IRQ"}),
    "gate array": frozenset({"INT", "WAIT"}),
    "video controller": frozenset({"HSYNC", "VSYNC"}),
    "shifter": frozenset({"PICTURE"}),
    "video output": frozenset({"VIDEO"}),
    "gates": frozenset({"RAS", "CAS", "WE"}),
    "mux": frozenset(f"MA{bit}" for bit in range(8)),
}
