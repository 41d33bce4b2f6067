"""What the scope's probes see where they touch: nets and supply nodes of the board, or nothing but hum.

Part of the world; it knows the board's waveforms, not how a probe came to its point, and no instrument.
"""

from __future__ import annotations

import math
import threading
from bisect import bisect_right
from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from simulated_instruments.benches.mains_hum import MainsHum
from simulated_instruments.benches.touches import LEG, Touches, scope_input
from simulated_instruments.board.board_nets import BoardNets
from simulated_instruments.board.tolerance import Tolerance
from simulated_instruments.board.waveform import Extremes, Joined, Waveform, sampled_extremes, search
from simulated_instruments.long_ground import KICKS, GroundLead, HashedRail, RingingNet
from simulated_instruments.loose_ground import LooseGround

Array = NDArray[np.float64]
Routes = tuple[tuple[str, ...], ...]  # the points each channel touches

# Noise a probe picks up (V rms): beside logic that switches, and on the stiff copper of a rail.
LOGIC_NOISE, RAIL_NOISE = 10e-3, 1.5e-3
OPEN_NOISE = 1e-3
# An open input: mains hum and what couples over from the neighbour (V peak).
HUM, COUPLED = 3e-3, 1.5e-3
NOISE_LENGTH = 1 << 18
PEAKS = 2.0  # how far beyond its rms value the noise goes within an interval
CHANNELS = 4
KICK_A_METRE = 1.5  # V that a long ground lead picks up of the board's largest steps, for each metre of it
AVERAGED = 4096  # samples a mean is taken from


class Hum:
    """An input that touches nothing."""

    def __init__(self, hertz: float, phase: float) -> None:
        self.hertz, self.phase = hertz, phase

    def samples(self, times: Array) -> Array:
        turns = 2.0 * np.pi * self.hertz * times + self.phase
        found: Array = HUM * np.sin(turns) + COUPLED * np.sin(11.0 * turns)
        return found

    def extremes(self, edges: Array) -> Extremes:
        return sampled_extremes(self, edges)

    def crossing(self, level: float, rising: bool, start: float, stop: float) -> float | None:
        if abs(level) > HUM + COUPLED:
            return None
        return search(self, level, rising, start, min(stop, start + 2.0 / self.hertz))


class Tied:
    """Several points on one input: what their drivers come to together is taken as the mean."""

    def __init__(self, waves: list[Waveform]) -> None:
        self.waves = waves

    def samples(self, times: Array) -> Array:
        found: Array = np.mean([wave.samples(times) for wave in self.waves], axis=0)
        return found

    def extremes(self, edges: Array) -> Extremes:
        pairs = [wave.extremes(edges) for wave in self.waves]
        return np.mean([low for low, _ in pairs], axis=0), np.mean([high for _, high in pairs], axis=0)

    def crossing(self, level: float, rising: bool, start: float, stop: float) -> float | None:
        return search(self, level, rising, start, stop)


class ScopeProbes:
    """The probes of one scope. `moved` is told of every change of what they touch; questions may reach back before it.

    `loose` has the hum between board and scope by the channels whose ground clip is off; `now` gives the time (s) of
    the clock, with everything done that is due by then. `clipped_to` names the node that the ground clip is on for a
    point that is not on the board: the other end of a pulled plug. `long_grounds` has the metres of long ground leads;
    `named` gives the input of a channel, since those of a counter touch points as a scope's do.
    """

    def __init__(
        self,
        nets: BoardNets,
        line_hertz: float,
        loose: Mapping[int, MainsHum],
        now: Callable[[], float],
        lock: threading.RLock,
        clipped_to: Callable[[str], str | None],
        long_grounds: Mapping[int, float],
        named: Callable[[int], str] = scope_input,
    ) -> None:
        self._named = named
        self._clipped_to = clipped_to
        self._nets, self._loose, self._now, self._lock = nets, loose, now, lock
        circuit = nets.board.circuit
        self._nodes, self._signals = circuit.points(), circuit.logic_points()
        self._log: list[tuple[float, Routes]] = [(-math.inf, ((),) * CHANNELS)]
        tolerance: Tolerance = nets.board.assembly.tolerance
        self._tolerance = tolerance
        self._hum = Hum(line_hertz, tolerance.uniform("hum", 0.0, 2.0 * math.pi))
        self._leads = {channel: self._ground_lead(channel, metres) for channel, metres in long_grounds.items()}
        self._noise: Array | None = None
        self._kept: dict[str, Waveform] = {}
        self._kept_until = -math.inf

    def _ground_lead(self, channel: int, metres: float) -> GroundLead:
        """The long ground lead of a channel: it picks up the more the longer it is, at every edge of the CPU clock."""
        clocks, signals = self._nets.activity.clocks, self._nets.activity.signals
        rate = 2.0 * clocks.master / signals.ratio(signals.cpu_clock)
        # Most steps are small; those at which a whole bus moves are rare.
        sizes = self._tolerance.generator(f"kicks {channel}").uniform(-1.0, 1.0, KICKS) ** 5
        return GroundLead(metres, KICK_A_METRE * metres, rate, sizes)

    def reworked(self, nets: BoardNets) -> None:
        """The board was worked on while it was dead: from now on these are its waveforms."""
        with self._lock:
            self._nets, self._kept, self._kept_until = nets, {}, -math.inf
            self._log = [(-math.inf, self._log[-1][1])]

    def forget(self) -> None:
        """Drop what is kept for quick answers."""
        with self._lock:
            self._kept, self._kept_until, self._noise = {}, -math.inf, None

    def moved(self, now: float, touches: Touches) -> None:
        """From `now` on the inputs touch these points."""
        routes = tuple(touches.get(self._named(channel), ()) for channel in range(1, CHANNELS + 1))
        if routes != self._log[-1][1]:
            self._log.append((now, routes))

    def samples(self, channel: int, times: Array) -> Array:
        """Volts at the probe tip of `channel` at `times` (s), with noise that the same question gets again."""
        with self._lock:
            since = float(times.min(initial=self._now()))
            volts = self._wave(channel, since).samples(times)
            volts += self._noise_volts(channel, since) * self._noise_of(channel, times)
            return volts

    def extremes(self, channel: int, edges: Array) -> Extremes:
        """Lowest and highest volts at the tip of `channel` between neighbouring `edges` (s), with the peaks of its
        noise."""
        with self._lock:
            self._now()
            low, high = self._wave(channel, float(edges[0])).extremes(edges)
            peaks = PEAKS * self._noise_volts(channel, float(edges[0])) * np.abs(self._noise_of(channel, edges))
            return low - peaks[:-1], high + peaks[1:]

    def _noise_volts(self, channel: int, since: float) -> float:
        """Volts rms of the noise at the tip of `channel`, by where it was at the time `since`: a record may be read
        when the probe has long gone elsewhere."""
        points = self._touched(channel, self._log[self._entry(since)][1])
        if not points:
            return OPEN_NOISE
        return LOGIC_NOISE if any(point.removesuffix(LEG) in self._signals for point in points) else RAIL_NOISE

    def crossing(self, channel: int, level: float, rising: bool, start: float, stop: float) -> float | None:
        """The first crossing of `level` at the tip of `channel` in [start, stop]."""
        with self._lock:
            self._now()
            return self._wave(channel, start).crossing(level, rising, start, stop)

    def key(self, channel: int) -> str:
        """The points the probe touches now."""
        with self._lock:
            self._now()
            return "+".join(self._touched(channel, self._log[-1][1])) or "open"

    def mean(self, net: str, start: float, stop: float) -> float:
        """Mean volts of a net, or of the leg of a chip itself, over [start, stop], as a voltmeter sees it."""
        with self._lock:
            wave = self._leg(net, self._now()) if net.endswith(LEG) else self._nets.net(net, self._now())
            if stop <= start:
                return float(wave.samples(np.array([stop]))[0])
            steps = np.arange(AVERAGED) + self._tolerance.generator(f"mean {start!r}").random(AVERAGED)
            return float(wave.samples(start + steps * ((stop - start) / AVERAGED)).mean())

    def source_ohms(self, net: str, start: float, stop: float) -> float:
        """Mean resistance (Ω) over [start, stop] of what holds a net."""
        with self._lock:
            return self._nets.source_ohms(self._signals.get(net.removesuffix(LEG), net), start, stop)

    def ohms_between(self, net: str, other: str, start: float, stop: float) -> float:
        """Mean resistance (Ω) over [start, stop] from one net to another."""
        with self._lock:
            nets = [self._signals.get(each.removesuffix(LEG), each) for each in (net, other)]
            return self._nets.ohms_between(nets[0], nets[1], start, stop)

    def _leg(self, leg: str, until: float) -> Waveform:
        """The waveform at the leg of a chip itself, whatever lies between it and the board."""
        point = leg.removesuffix(LEG)
        return self._nets.leg(point.partition(".")[0], self._signals[point], until)

    def _touched(self, channel: int, routes: Routes) -> list[str]:
        return [point for point in routes[channel - 1] if self._exists(point)]

    def _exists(self, point: str) -> bool:
        known = point.removesuffix(LEG)
        return known in self._nodes or known in self._signals or self._clipped_to(point) is not None

    def _wave(self, channel: int, since: float) -> Waveform:
        """What the tip has seen since the time `since`, through every change of what it touches."""
        starts: list[float] = []
        routes: list[list[str]] = []
        for time, touched in self._log[self._entry(since) :]:
            points = self._touched(channel, touched)
            if not routes or points != routes[-1]:
                starts.append(time)
                routes.append(points)
        until = self._now()
        waves: list[Waveform] = []
        for points in routes:
            found = [self._led(channel, point, self._point(point, until)) for point in points]
            waves.append(self._hum if not found else found[0] if len(found) == 1 else Tied(found))
        joined = Joined(starts, waves)
        return LooseGround(joined, self._loose[channel]) if channel in self._loose else joined

    def _entry(self, since: float) -> int:
        """The place in the log of what was touched at the time `since`."""
        return max(bisect_right(self._log, since, key=lambda entry: entry[0]) - 1, 0)

    def _led(self, channel: int, point: str, wave: Waveform) -> Waveform:
        """What the ground lead of a channel makes of a point."""
        if channel not in self._leads:
            return wave
        lead = self._leads[channel]
        return RingingNet(wave, lead) if point in self._signals else HashedRail(wave, lead)

    def _point(self, point: str, until: float) -> Waveform:
        """The waveform of a point; a record is asked for in many pieces at one time, so that time's are kept."""
        if until != self._kept_until:
            self._kept, self._kept_until = {}, until
        if point not in self._kept:
            clipped_to = self._clipped_to(point)
            if clipped_to is not None:
                self._kept[point] = self._nets.across(point, clipped_to, until)
            elif point.endswith(LEG):
                self._kept[point] = self._leg(point, until)
            elif point in self._signals:
                self._kept[point] = self._nets.point(point, self._signals[point], until)
            else:
                self._kept[point] = self._nets.node(self._nodes[point], until)
        return self._kept[point]

    def _noise_of(self, channel: int, times: Array) -> Array:
        """A stretch of standard normal noise that depends on channel and first time only."""
        if self._noise is None:
            self._noise = self._tolerance.generator("probe noise").standard_normal(NOISE_LENGTH)
        first = float(times[0]) if times.size else 0.0
        begin = int(self._tolerance.generator(f"noise {channel} {first!r}").integers(NOISE_LENGTH))
        if begin + times.size <= NOISE_LENGTH:
            return self._noise[begin : begin + times.size]
        short = begin + times.size - NOISE_LENGTH
        if short > begin:
            return np.resize(np.concatenate((self._noise[begin:], self._noise[:begin])), times.size)
        return np.concatenate((self._noise[begin:], self._noise[:short]))


class ScopeSockets:
    """`ScopeTerminals` of one scope."""

    def __init__(self, probes: ScopeProbes) -> None:
        self._probes = probes

    def samples(self, channel: int, times: Array, input_ohms: float) -> Array:  # noqa: ARG002 (TTL does not feel 10 MΩ)
        return self._probes.samples(channel, times)

    def extremes(self, channel: int, edges: Array, input_ohms: float) -> Extremes:  # noqa: ARG002
        return self._probes.extremes(channel, edges)

    def crossing(self, channel: int, level: float, rising: bool, start: float, stop: float) -> float | None:
        return self._probes.crossing(channel, level, rising, start, stop)

    def key(self, channel: int) -> str:
        return self._probes.key(channel)
