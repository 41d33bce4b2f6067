"""The person at the bench, as the instruments see what is done: touching, missing, slipping, knobs and plugs."""

from __future__ import annotations

import threading

import pytest
import pyvisa

from autobench.clock import RealClock
from autobench.errors import UsageError
from simulated_instruments.bench import SimulatedBench
from simulated_instruments.benches.person import SimulatedPerson

ALL_THERE = 1.5 * 1.2 + 0.01  # s; the longest that a request takes, by the wiring file
OVERLOAD = 9.9e37  # SCPI-1999 vol. 1, 7.2.1.4


class HandBench:
    """A tarnbeck-8 and its person, with every instrument reached through a VISA session."""

    def __init__(self, *faults: str, wiring: str = "hand", seed: int = 1) -> None:
        self.bench = SimulatedBench.open("tarnbeck-8", wiring=wiring, faults=faults, seed=seed)
        self.clock = self.bench.clock
        assert self.bench.person is not None
        self.person: SimulatedPerson = self.bench.person
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

    def power(self) -> None:
        self.ask("supply", "VOLT 5,(@1)", "CURR 2,(@1)", "OUTP ON,(@1)", "*OPC?")
        self.clock.sleep(3.0)

    def volts(self) -> float:
        return float(self.ask("meter", "MEAS:VOLT:DC?"))

    def quick_volts(self) -> float:
        """A reading of a few milliseconds."""
        return float(self.ask("meter", "CONF:VOLT:DC 10", "VOLT:NPLC 0.02", "READ?"))

    def ohms(self) -> float:
        return float(self.ask("meter", "MEAS:RES?"))

    def touch(self, tip: str, point: str, against: str | None = None) -> None:
        self.person.touch(tip, point, against)
        self.clock.sleep(ALL_THERE)

    def seen(self) -> float:
        """Mean volts of the last hundredth of a second on the scope's first channel, whose probe divides by ten."""
        self.ask("scope", ":CHAN1:PROB 10", ":CHAN1:SCAL 2", ":TIM:SCAL 1E-3", ":TRIG:SWE AUTO", ":RUN", "*OPC?")
        self.clock.sleep(0.5)
        return float(self.ask("scope", ":STOP", ":MEAS:ITEM? VAVG,CHAN1"))

    def until(self, words: str) -> float:
        """Wait in steps of 10 ms for something to be done; the time (s) it was done at."""
        for _ in range(200):
            if self.person.done and self.person.done[-1][1] == words:
                return self.person.done[-1][0]
            self.clock.sleep(0.01)
        raise AssertionError(f"{words}: not done; last was {self.person.done[-1:]}")


def test_a_tip_in_the_air_a_tip_on_a_point_and_tips_together() -> None:
    """In the air millivolts and an overload, on the inlet its volts, together nothing and two contacts of 50 mΩ."""
    hand = HandBench()
    assert abs(hand.volts()) < 0.01  # common practice: an open lead reads a few millivolts through 10 MΩ
    assert hand.ohms() == OVERLOAD
    hand.person.together()
    hand.clock.sleep(ALL_THERE)
    assert hand.ohms() == pytest.approx(0.1, abs=0.01)  # Ohm's law
    assert hand.volts() == pytest.approx(0.0, abs=1e-4)
    hand.power()
    hand.touch("meter", "J1.1", "J1.2")
    assert hand.volts() == pytest.approx(hand.bench.truth().between("J1.1", "J1.2"), abs=0.002)
    hand.person.lift("meter")
    hand.clock.sleep(ALL_THERE)
    assert abs(hand.volts()) < 0.01
    assert [words for _, words in hand.person.done] == [
        "tips together",
        "meter lifted",
        "meter on J1.1 against J1.2",
        "meter lifted",
    ]


def test_any_point_of_the_circuit_can_be_touched_however_many_there_are() -> None:
    """A pin that no plate has, a signal against a signal, and the polarity of the tips."""
    hand = HandBench()
    hand.power()
    hand.touch("meter", "U20.40", "U20.20")
    far = hand.volts()
    assert 4.5 < far < 4.95
    hand.touch("meter", "U20.20", "U20.40")
    assert hand.volts() == pytest.approx(-far, abs=0.005)
    hand.touch("meter", "U1.26", "J1.2")
    reset = hand.volts()
    assert reset == pytest.approx(4.8, abs=0.1)
    hand.touch("meter", "U1.26", "U1.25")
    assert hand.volts() == pytest.approx(0.0, abs=0.2)  # both released: the rail, and what a pull-up makes of it
    hand.touch("meter", "J1.2", "U1.26")
    assert hand.volts() == pytest.approx(-reset, abs=0.01)


def test_a_request_takes_its_time_and_the_tip_leaves_its_place_half_way() -> None:
    """The old point is read for half of the way, then nothing, then the new one; a request takes 0.84 to 1.8 s."""
    hand = HandBench()
    hand.power()
    hand.touch("meter", "J1.1", "J1.2")
    asked = hand.clock.now()
    hand.person.touch("meter", "U18.8", "U18.16")
    assert hand.quick_volts() == pytest.approx(4.95, abs=0.05)
    left = hand.until("meter lifted")
    assert abs(hand.quick_volts()) < 0.02
    came = hand.until("meter on U18.8 against U18.16")
    assert hand.quick_volts() == pytest.approx(4.70, abs=0.06)
    assert left - asked == pytest.approx((came - asked) / 2.0, rel=1e-6)
    assert 0.7 * 1.2 <= came - asked <= 1.5 * 1.2  # the wiring file's 1.2 s


def test_what_is_due_is_done_at_its_own_time_however_late_somebody_looks() -> None:
    """Looked at a minute later, the scope's past still has the rail from the moment the tip arrived."""
    hand = HandBench()
    hand.power()
    hand.person.touch("scope 1", "J1.1")
    hand.clock.sleep(20.0)
    assert hand.bench.truth().time == hand.clock.now()
    (came, words), *_ = hand.person.done
    assert words == "scope 1 on J1.1"
    probes = hand.bench.world.probes
    assert probes is not None
    crossing = probes.crossing(1, 2.5, True, 3.0, hand.clock.now())
    assert crossing == pytest.approx(came, abs=1e-6)


def test_a_new_request_calls_the_hand_back() -> None:
    """Asked for another point on the way, the tip never comes to the first one."""
    hand = HandBench()
    hand.person.touch("meter", "J1.1", "J1.2")
    hand.clock.sleep(0.1)
    hand.person.touch("meter", "U1.11", "U1.29")
    hand.clock.sleep(2 * ALL_THERE)
    assert [words for _, words in hand.person.done] == ["meter on U1.11 against U1.29"]


def test_a_point_that_is_not_reached_at_first_is_missed_then_lost_then_held() -> None:
    """Meter: first try nothing, second 150 ms of the rail, third for good."""
    hand = HandBench("probe-not-touching@U18.8")
    hand.power()
    hand.touch("meter", "U18.8", "U18.16")
    assert abs(hand.volts()) < 0.01
    hand.person.touch("meter", "U18.8", "U18.16")
    came = hand.until("meter on U18.8 against U18.16")
    assert hand.quick_volts() == pytest.approx(4.70, abs=0.06)
    assert hand.until("meter slipped off U18.8") - came == pytest.approx(0.150, abs=1e-9)
    assert abs(hand.quick_volts()) < 0.02
    hand.touch("meter", "U18.8", "U18.16")
    hand.clock.sleep(10.0)
    assert hand.volts() == pytest.approx(4.70, abs=0.06)
    assert hand.person.done[0][1] == "meter on nothing at U18.8 against U18.16"


def test_the_scope_sees_the_same_misses() -> None:
    """Flat, then 150 ms of the rail in one record, then the rail."""
    hand = HandBench("probe-not-touching@U18.8")
    hand.power()
    hand.touch("scope 1", "U18.8")
    assert hand.seen() == pytest.approx(0.0, abs=0.2)
    hand.person.touch("scope 1", "U18.8")
    came = hand.until("scope 1 on U18.8")
    hand.clock.sleep(1.0)
    assert hand.seen() == pytest.approx(0.0, abs=0.2)
    probes = hand.bench.world.probes
    assert probes is not None
    assert probes.crossing(1, 2.5, False, came, hand.clock.now()) == pytest.approx(came + 0.150, abs=1e-6)
    hand.touch("scope 1", "U18.8")
    assert hand.seen() == pytest.approx(4.70, abs=0.3)


def test_the_neighbour_is_touched_once_and_then_the_right_pin() -> None:
    """The first try lands beside the reset pin, the second on it; another point is not missed."""
    hand = HandBench("wrong-pin@U1.26")
    hand.power()
    hand.touch("meter", "U1.26", "J1.2")
    beside = hand.bench.world.damage.wrong_pins["U1.26"]
    assert beside in ("U1.25", "U1.27")
    assert hand.person.done[-1][1] == f"meter on {beside} against J1.2"
    net = hand.bench.world.board.circuit.logic_points()[beside]
    assert hand.bench.world.meter_key() == f"{net} to J1.2"
    hand.touch("meter", "U1.26", "J1.2")
    assert hand.bench.world.meter_key() == "RESET to J1.2"
    assert hand.volts() == pytest.approx(4.8, abs=0.1)


def test_words_that_are_not_known_are_refused_at_once() -> None:
    """Points, tips and rails: named, with what there is; nothing is done for them."""
    hand, knobs = HandBench(), HandBench(wiring="hand-supply")
    with pytest.raises(UsageError, match=r"'U1.99' is not a point of tarnbeck-8"):
        hand.person.touch("meter", "U1.99", "J1.2")
    with pytest.raises(UsageError, match=r"'\+5V plug \+' is not a point"):  # no plug where nobody pulls one
        hand.person.touch("meter", "+5V plug +", "J1.2")
    with pytest.raises(UsageError, match="'scope 4' is not a tip"):
        hand.person.lift("scope 4")
    with pytest.raises(UsageError, match="each of its two tips"):
        hand.person.touch("meter", "J1.1")
    with pytest.raises(UsageError, match="no knobs"):
        hand.person.switch_supply("+5V", True)
    with pytest.raises(UsageError, match=r"'\+9V' is not a rail of this bench"):
        knobs.person.set_supply("+9V", 5.0, 1.0)
    with pytest.raises(UsageError, match=r"'\+12V' is not a rail of tarnbeck-8"):
        knobs.person.plug("+12V", False)
    hand.clock.sleep(5.0)
    assert hand.person.done == ()


def test_knobs_power_the_board_as_well_as_a_hand_can() -> None:
    """Asked for together they are done in order; 5 V come out within 0.5 %, the limit within 3 %; off is off."""
    knobs = HandBench(wiring="hand-supply", seed=4)
    knobs.person.set_supply("+5V", 5.0, 1.2)
    knobs.person.switch_supply("+5V", True)
    assert not knobs.bench.truth().any_on
    knobs.clock.sleep(5.0)
    output = knobs.bench.truth().outputs[1]
    assert output.on
    assert output.set_volts == pytest.approx(5.0, rel=0.005)
    assert output.set_volts != 5.0
    assert output.set_amps == pytest.approx(1.2, rel=0.03)
    assert output.amps > 0.5
    assert knobs.bench.truth().ever_on[0][2] == output.set_volts
    knobs.touch("meter", "J1.1", "J1.2")
    assert knobs.volts() == pytest.approx(output.volts - 0.060 * output.amps, abs=0.01)  # two leads of 30 mΩ
    knobs.person.switch_supply("+5V", False)
    knobs.clock.sleep(10.0)
    assert not knobs.bench.truth().any_on
    assert knobs.volts() == pytest.approx(0.0, abs=0.05)
    assert [words for _, words in knobs.person.done if "switched" in words] == ["+5V switched on", "+5V switched off"]


def test_a_limit_turned_too_low_holds_the_supply_back() -> None:
    """With 0.3 A the output is in its limit and below its volts."""
    knobs = HandBench(wiring="hand-supply")
    knobs.person.set_supply("+5V", 5.0, 0.3)
    knobs.person.switch_supply("+5V", True)
    knobs.clock.sleep(5.0)
    output = knobs.bench.truth().outputs[1]
    assert output.limiting
    assert output.amps == pytest.approx(0.3, rel=0.03)
    assert output.volts < 4.5


@pytest.mark.parametrize(("faults", "sign"), [((), 1.0), (("leads-reversed",), -1.0)])
def test_pulled_plugs_show_the_polarity_without_the_board(faults: tuple[str, ...], sign: float) -> None:
    """The ends of the leads carry the supply's volts in their own sense, and the board gets nothing."""
    knobs = HandBench(*faults, wiring="hand-supply")
    knobs.person.plug("+5V", False)
    knobs.person.set_supply("+5V", 5.0, 0.5)
    knobs.person.switch_supply("+5V", True)
    knobs.clock.sleep(3 * ALL_THERE)
    knobs.touch("meter", "+5V plug +", "+5V plug -")
    assert knobs.volts() == pytest.approx(sign * 5.0, rel=0.006)
    truth = knobs.bench.truth()
    assert abs(truth.between("J1.1", "J1.2")) < 1e-3
    assert truth.most_volts["+5V"] < 1e-3
    assert truth.outputs[1].amps < 1e-5
    # A floating supply and the board: no current finds a way. The scope's clip goes to the plug's other end.
    knobs.touch("meter", "+5V plug +", "J1.2")
    assert abs(knobs.volts()) < 0.01
    knobs.touch("scope 1", "+5V plug +")
    assert knobs.bench.world.probes is not None
    assert knobs.bench.world.probes.key(1) == "+5V plug +"


def test_a_plug_that_is_in_is_the_inlet() -> None:
    """Its ends read what the inlet reads, for meter, scope and truth; the ohms are those of the board."""
    knobs = HandBench(wiring="hand-supply")
    assert knobs.ohms() == OVERLOAD
    knobs.touch("meter", "+5V plug +", "+5V plug -")
    assert 60.0 < knobs.ohms() < 200.0
    knobs.person.plug("+5V", False)
    knobs.clock.sleep(ALL_THERE)
    assert knobs.ohms() > 1e6  # what leaks across the leads
    knobs.person.plug("+5V", True)
    knobs.person.set_supply("+5V", 5.0, 2.0)
    knobs.person.switch_supply("+5V", True)
    knobs.person.touch("scope 1", "+5V plug +")
    knobs.clock.sleep(6.0)
    truth = knobs.bench.truth()
    assert truth.between("+5V plug +", "+5V plug -") == truth.between("J1.1", "J1.2")
    assert knobs.volts() == pytest.approx(truth.between("J1.1", "J1.2"), abs=0.002)
    assert knobs.bench.world.probes is not None
    assert knobs.bench.world.probes.key(1) == "J1.1"


def test_the_same_seed_and_requests_give_the_same_times_and_readings() -> None:
    """To the last digit; another seed's hands are quicker or slower."""
    found = []
    for seed in (3, 3, 4):
        hand = HandBench(seed=seed)
        hand.power()
        hand.touch("meter", "U1.11", "U1.29")
        found.append((hand.person.done, hand.volts()))
    assert found[0] == found[1]
    assert found[0][0][0][0] != found[2][0][0][0]


def test_many_threads_may_ask_and_look_at_once() -> None:
    """On a real clock, requests from several threads while others read leave a hand that is where it was sent last."""
    with SimulatedBench.open("tarnbeck-8", wiring="hand", clock=RealClock()) as bench:
        person, world = bench.person, bench.world
        assert person is not None
        failures: list[BaseException] = []

        def ask(points: tuple[str, str]) -> None:
            try:
                for _ in range(20):
                    person.touch("meter", *points)
                    world.meter_volts(1e7, 0.001)
            except BaseException as error:
                failures.append(error)

        pairs = (("J1.1", "J1.2"), ("U1.11", "U1.29"), ("U1.27", "J1.2"))
        threads = [threading.Thread(target=ask, args=(pair,)) for pair in pairs]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert failures == []
        assert person.done == ()  # every new request called the hand back before it had arrived


def test_both_hands_on_the_board_hold_no_tip() -> None:
    """Whoever takes a chip out has put down the probe and the meter's tips: an input that a tip shares with relays
    sees nothing but these then."""
    bench = HandBench()
    bench.power()
    bench.touch("scope 1", "U18.8")
    bench.touch("meter", "U18.8", "U18.16")
    assert bench.seen() == pytest.approx(4.7, abs=0.3)  # the board file's far point, healthy
    bench.person.lay_down()
    bench.clock.sleep(2 * ALL_THERE)
    assert bench.seen() == pytest.approx(0.0, abs=0.3)
    assert [words for _, words in bench.person.done][-2:] in (
        ["meter lifted", "scope 1 lifted"],
        ["scope 1 lifted", "meter lifted"],
    )
