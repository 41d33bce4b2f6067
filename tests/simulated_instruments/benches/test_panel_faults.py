"""Faults of leads, probes and front panels, as the program at the other end of the cable meets them."""

from __future__ import annotations

import numpy as np
import pytest
import pyvisa

from simulated_instruments.bench import SimulatedBench

OVERLOAD = 9.9e37  # SCPI-1999 vol. 1, 7.2.1.4


class Station:
    """A fixture with faults and a session to each of its instruments."""

    def __init__(self, *faults: str, seed: int = 2) -> None:
        self.bench = SimulatedBench.open("tarnbeck-8", faults=faults, seed=seed)
        self.clock = self.bench.clock
        manager = pyvisa.ResourceManager(self.bench.library)
        self._sessions: dict[str, pyvisa.resources.MessageBasedResource] = {}
        for name, address in self.bench.addresses.items():
            session = manager.open_resource(address, read_termination="\n", write_termination="\n")
            assert isinstance(session, pyvisa.resources.MessageBasedResource)
            self._sessions[name] = session

    def ask(self, name: str, *lines: str) -> str:
        for line in lines[:-1]:
            self._sessions[name].write(line)
        return self._sessions[name].query(lines[-1])

    def power(self, *channels: int) -> None:
        self.ask("supply", "VOLT 5,(@1)", "CURR 2,(@1)", "OUTP ON,(@1)", "*OPC?")
        self.ask("relays", f"ROUT:CLOS (@{','.join(map(str, channels))})", "*OPC?")
        self.clock.sleep(3.0)

    def rail(self) -> tuple[float, float]:
        """Mean and peak-to-peak volts of the scope's first channel over 12 ms."""
        setting = (":CHAN1:PROB 10", ":CHAN1:SCAL 2", ":TIM:SCAL 1E-3", ":TRIG:SWE AUTO", ":RUN", "*OPC?")
        self.ask("scope", *setting)
        self.clock.sleep(0.5)
        mean = float(self.ask("scope", ":STOP", ":MEAS:ITEM? VAVG,CHAN1"))
        return mean, float(self.ask("scope", ":MEAS:ITEM? VPP,CHAN1"))


def test_a_probe_at_times_one_shows_ten_times_the_volts() -> None:
    """Half a volt of the supply is read as five, on the probe that is switched and on no other."""
    wrong, sound = Station("probe-factor-wrong@scope 1"), Station("probe-factor-wrong@scope 2")
    for station, factor in ((wrong, 10.0), (sound, 1.0)):
        station.ask("supply", "VOLT 0.5,(@1)", "CURR 1,(@1)", "OUTP ON,(@1)", "*OPC?")
        station.ask("relays", "ROUT:CLOS (@301)", "*OPC?")
        station.clock.sleep(1.0)
        assert station.rail()[0] == pytest.approx(0.5 * factor, abs=0.3)  # common practice: ×10 off


def test_without_its_ground_clip_a_probe_rides_on_hum_and_the_meter_does_not() -> None:
    """The rail moves by 0.6 V to 2 V with the mains, the meter at the same point reads it still."""
    loose, sound = Station("ground-clip-off@scope 1"), Station()
    for station in (loose, sound):
        station.power(306, 106, 202)
    assert sound.rail()[1] < 0.5
    assert 0.5 < loose.rail()[1] < 2.3
    assert float(loose.ask("meter", "MEAS:VOLT:DC?")) == pytest.approx(4.7, abs=0.06)
    probes = loose.bench.world.probes
    assert probes is not None
    now = loose.clock.now()
    volts = probes.samples(1, np.linspace(now - 0.2, now, 4096, endpoint=False))
    spectrum = np.abs(np.fft.rfft(volts - volts.mean()))
    assert np.argmax(spectrum) == 10  # 50 Hz over 0.2 s


def test_a_held_time_base_and_coupling_win_over_what_is_sent() -> None:
    """The scope answers how it stands: 50 ms a division, AC, and a rail at 0 V."""
    station = Station("timebase-too-slow", "coupling-left-ac")
    station.power(306)
    assert float(station.ask("scope", ":TIM:SCAL 1E-6", ":TIM:SCAL?")) == pytest.approx(0.05)
    assert station.ask("scope", ":CHAN1:COUP DC", ":CHAN1:COUP?") == "AC"
    assert station.rail()[0] == pytest.approx(0.0, abs=0.3)


def test_a_trigger_that_sees_nothing_waits_for_ever() -> None:
    """Armed once on a running clock it goes on waiting, where a sound one is done."""
    for faults, state in (((), "STOP"), (("trigger-never",), "WAIT")):
        station = Station(*faults)
        station.power(310)
        station.ask("scope", ":CHAN1:PROB 10", ":CHAN1:SCAL 1", ":TRIG:EDGE:LEV 1.5", ":SING", "*OPC?")
        station.clock.sleep(5.0)
        assert station.ask("scope", ":TRIG:STAT?") == state


def test_a_range_held_too_low_overloads() -> None:
    """5 V in a range of 1 V: 9.9E37, whatever range is sent."""
    station = Station("range-fixed-low")
    station.power(101, 202)
    assert float(station.ask("meter", "CONF:VOLT:DC 10", "READ?")) == OVERLOAD
    assert float(Station().ask("meter", "CONF:VOLT:DC 10", "READ?")) < 1.0


def test_short_integration_lets_the_hum_of_the_leads_through() -> None:
    """At 0.02 line cycles readings scatter by tens of millivolts, though ten are asked for; a sound meter's do not."""
    scatter = []
    for faults in ((), ("integration-too-short",)):
        station = Station(*faults)
        station.power(101, 202)
        station.ask("meter", "CONF:VOLT:DC 10", "VOLT:NPLC 10", "*OPC?")
        readings = []
        for _ in range(20):
            station.clock.sleep(0.0037)
            readings.append(float(station.ask("meter", "READ?")))
        scatter.append(max(readings) - min(readings))
        assert sum(readings) / 20 == pytest.approx(4.95, abs=0.1)
    assert scatter[0] < 0.005
    assert 0.06 < scatter[1] < 0.42  # common practice: ±50 mV to ±200 mV of scatter at 0.02 line cycles


def test_a_latched_trip_refuses_until_it_is_cleared() -> None:
    """The condition is told, ON is an error and does nothing; cleared, the output comes on."""
    station = Station("protection-latched")
    station.ask("supply", "VOLT 5,(@1)", "CURR 2,(@1)", "OUTP ON,(@1)", "*OPC?")
    station.clock.sleep(1.0)
    assert not station.bench.truth().any_on
    assert int(station.ask("supply", "STAT:QUES:COND? (@1)")) == 1 << 9
    assert station.ask("supply", "SYST:ERR?").startswith("-200")
    station.ask("supply", "OUTP:PROT:CLE (@1)", "OUTP ON,(@1)", "*OPC?")
    station.clock.sleep(1.0)
    assert station.bench.truth().any_on
