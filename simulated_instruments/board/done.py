"""What was done to a specimen, told afterwards: the nets that a fault holds, cuts or joins. For the truth alone."""

from __future__ import annotations

from copy import deepcopy
from dataclasses import dataclass

from simulated_instruments.board.assembly import Assembly
from simulated_instruments.board.fault_place import FaultPlace
from simulated_instruments.board.faults import damage


@dataclass(frozen=True)
class DoneFault:
    """A fault at its place, with the nets it came to; where the seed picked a leg, the net of that leg. `asleep`: a
    joint that conducts until the board is warm or somebody bends it."""

    fault: str
    part: str
    nets: tuple[str, ...]
    asleep: bool = False


def do(assembly: Assembly, place: FaultPlace) -> DoneFault:
    """Do to the specimen what `place` says, and tell which nets it is about."""
    before, joints = deepcopy(assembly.condition), len(assembly.joints)
    damage(assembly, place)
    after = assembly.condition
    cut = [net for part, net in after.cut if (part, net) not in before.cut]
    held = [net for net in after.held if net not in before.held]
    joined = [
        *lines("D", after.wrong.joined & ~before.wrong.joined),
        *lines("A", after.wrong.joined_address & ~before.wrong.joined_address),
    ]
    nets = [*([place.net] if place.net else []), *cut, *held, *joined]
    asleep = any(joint.warmth > 0.0 or joint.flexed > 0.0 for joint in assembly.joints[joints:])
    return DoneFault(place.fault, place.part, tuple(dict.fromkeys(nets)), asleep)


def lines(letter: str, mask: int) -> list[str]:
    """The lines of a bus whose bits are set in `mask`."""
    return [f"{letter}{bit}" for bit in range(mask.bit_length()) if mask >> bit & 1]
