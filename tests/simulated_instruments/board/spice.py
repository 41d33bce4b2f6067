"""A board's network as a netlist, and ngspice run on it: the outside opinion on every node's volts."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import numpy as np

from simulated_instruments.board.elements import OPEN_OHMS, Converter, Diode, Regulator
from simulated_instruments.board.loads import EXPONENT, KNEE, WIDTH
from simulated_instruments.board.network import Network
from simulated_instruments.board.sources import CURRENT, VOLTAGE


def netlist(network: Network, time: float, volts: np.ndarray) -> str:
    """The circuit as it stands at `time`, its sources in the modes they are in; starts ngspice at our solution."""
    names = {name: "0" if place == network.size else f"n{place}" for name, place in network.index.items()}
    lines = ["board"]
    for number, (one, siemens) in enumerate(zip(network.resistors, network._siemens, strict=True)):
        if siemens > 0.0:
            lines.append(f"R{number} {names[one.plus]} {names[one.minus]} {1.0 / siemens:.12g}")
    for number, (load, scale) in enumerate(zip(network.loads, network.scale, strict=True)):
        plus, minus = names[load.plus], names[load.minus]
        across = f"max(v({plus},{minus}),0)" if minus != "0" else f"max(v({plus}),0)"
        law = f"{load.amps * scale:.12g}*pwr({across}/{load.nominal},{EXPONENT})"
        lines.append(f"BL{number} {plus} {minus} I={law}/(1+exp(min(({KNEE}-{across})/{WIDTH},500)))")
    for number, source in enumerate(network.sources):
        plus, minus = names[source.plus], names[source.minus]
        if not source.connected:
            continue
        if source.mode == VOLTAGE:
            lines += [f"VS{number} s{number} {minus} {source.open_volts(time):.12g}"]
            lines += [f"RS{number} s{number} {plus} {source.ohms:.12g}"]
        elif source.mode == CURRENT:
            lines += [f"IS{number} {minus} {plus} {source.limit:.12g}"]
    for number, element in enumerate(network.elements):
        lines += element_lines(number, element, [names[node] for node in element.nodes])
    touched = [place for place in range(network.size) if re.search(rf"\bn{place}\b", "\n".join(lines))]
    sets = " ".join(f"v(n{place})={volts[place]:.9g}" for place in touched)
    wanted = "\n".join(f"print v(n{place})" for place in touched)
    options = ".options reltol=1e-7 abstol=1e-12 vntol=1e-9 gmin=1e-15 itl1=2000"
    return "\n".join(
        [*lines, f".nodeset {sets}", options, ".control", "set numdgt=9", "op", wanted, "quit", ".endc", ".end", ""]
    )


def element_lines(number: int, element: object, nodes: list[str]) -> list[str]:
    """A diode, regulator or converter as behavioural sources, by the formulas of their data sheets."""
    if isinstance(element, Diode):
        leak = f"RD{number} {nodes[0]} {nodes[1]} {OPEN_OHMS}"
        if element.open:
            return [leak]
        saturation = element.rated / np.expm1(element.forward / element.slope)
        across = f"(v({nodes[0]})-v({nodes[1]}))"
        current = f"{saturation:.12g}*(exp(min({across}/{element.slope},40))-1)"
        return [f"BD{number} {nodes[0]} {nodes[1]} I={current}", leak]
    if isinstance(element, Regulator):
        given, out, ground = (f"v({node})" if node != "0" else "0" for node in nodes)
        x = f"x{number}"
        head = f"(({given}-{out}-{element.dropout:.9g})/0.05)"
        least = f"-0.004*ln(exp(-(v({x}w)-v({x}l))/0.004)+exp(-(v({x}h)-v({x}l))/0.004)+exp(-(v({x}m)-v({x}l))/0.004))"
        share = f"min(max(({out}-{ground})/{0.6 * element.volts:.12g},0),1)"
        return [
            f"B{x}w {x}w 0 V=({element.volts:.12g}-({out}-{ground}))/{element.ohms}",
            f"B{x}h {x}h 0 V=20*0.05*(max({head},0)+ln(1+exp(-abs({head}))))",
            f"B{x}m {x}m 0 V={element.limit:.12g}*({element.folded}+{1 - element.folded}*{share}^2*(3-2*{share}))",
            f"B{x}l {x}l 0 V=min(v({x}w),min(v({x}h),v({x}m)))",
            f"B{x}s {x}s 0 V=(v({x}l)+{least})/0.004",
            f"B{x}p {x}p 0 V=0.004*(max(v({x}s),0)+ln(1+exp(-abs(v({x}s)))))*v({x}h)/(v({x}h)+0.004)",
            f"B{x}i {nodes[0]} {nodes[1]} I=v({x}p)",
            f"B{x}q {nodes[0]} {nodes[2]} I={element.quiescent}*min(max(({given}-{ground})/3,0),1)",
        ]
    assert isinstance(element, Converter)
    given, ground, plus, minus = (f"v({node})" if node != "0" else "0" for node in nodes)
    x = f"x{number}"
    lines = [f"B{x}a {x}a 0 V=1/(1+exp(({element.starts}-({given}-{ground}))/0.12))"]
    lines += limited(
        f"{x}u", f"(({element.high:.12g}-({plus}-{ground}))/{element.high_ohms})", element.high_limit, 0.004
    )
    lines += limited(
        f"{x}d", f"((({minus}-{ground})-({element.low:.12g}))/{element.low_ohms})", element.low_limit, 0.0005
    )
    up = "0" if element.high_dead else f"v({x}a)*v({x}uo)"
    down = "0" if element.low_dead else f"v({x}a)*v({x}do)"
    power = f"(max({plus}-{ground},0)*{up}+max({ground}-{minus},0)*{down})"
    return [
        *lines,
        f"B{x}p {nodes[1]} {nodes[2]} I={up}",
        f"B{x}m {nodes[3]} {nodes[1]} I={down}",
        f"B{x}i {nodes[0]} {nodes[1]} I={power}/({element.efficiency}*max({given}-{ground},3))+{element.idle}*v({x}a)",
    ]


def limited(name: str, wanted: str, most: float, width: float) -> list[str]:
    """A current (as volts of node `<name>o`) that is wanted up to a limit, rounded as the board's own is."""
    least = f"min({wanted},{most})"
    soft = f"({least}-0.004*ln(exp(-({wanted}-{least})/0.004)+exp(-({most}-{least})/0.004)))/{width}"
    return [
        f"B{name}s {name}s 0 V={soft}",
        f"B{name}o {name}o 0 V={width}*(max(v({name}s),0)+ln(1+exp(-abs(v({name}s)))))",
    ]


def solved(text: str, folder: Path) -> dict[int, float]:
    """Volts by node number, from ngspice in batch mode. Raises `FileNotFoundError` where it is not installed."""
    path = folder / "board.cir"
    path.write_text(text, encoding="ascii")
    done = subprocess.run(["ngspice", "-b", str(path)], capture_output=True, text=True, check=False, timeout=120)
    found = {int(place): float(volts) for place, volts in re.findall(r"v\(n(\d+)\) = (\S+)", done.stdout)}
    assert found, done.stdout[-2000:] + done.stderr[-2000:]
    return found
