"""The devices of a wiring, each at its terminals in the world, with what somebody has left set on its front."""

from __future__ import annotations

from autobench.clock import Clock
from autobench.errors import UsageError
from simulated_instruments.benches.faults import BenchDamage
from simulated_instruments.benches.wiring import Wiring
from simulated_instruments.counter_leads import CounterSockets
from simulated_instruments.devices.counter_arming import ArmingCounter
from simulated_instruments.devices.counter_configured import ConfiguredCounter
from simulated_instruments.devices.instrument import Device
from simulated_instruments.devices.meter_conf_read import ConfReadMeter
from simulated_instruments.devices.meter_short_words import ShortWordsMeter
from simulated_instruments.devices.relays_card_channel import CardChannelRelays
from simulated_instruments.devices.relays_console import RELAYS as CONSOLE_RELAYS
from simulated_instruments.devices.relays_console import ConsoleRelays
from simulated_instruments.devices.relays_slot_channel import SlotChannelRelays
from simulated_instruments.devices.scope_out_preamble import OutPreambleScope
from simulated_instruments.devices.scope_preamble_data import PreambleDataScope
from simulated_instruments.devices.scope_preamble_data_running import RunningScope
from simulated_instruments.devices.scope_preamble_points import PreamblePointsScope
from simulated_instruments.devices.scope_screen_scaled import ScreenScaledScope
from simulated_instruments.devices.scope_template import TemplateScope
from simulated_instruments.devices.supply_channel_list import ChannelListSupply
from simulated_instruments.devices.supply_channel_word import ChannelWordSupply
from simulated_instruments.devices.supply_fixed_digits import FixedDigitsSupply
from simulated_instruments.devices.supply_fixed_text import FixedTextSupply
from simulated_instruments.devices.supply_letter_number import LetterNumberSupply
from simulated_instruments.devices.supply_selected import SelectedSupply
from simulated_instruments.devices.supply_single import SingleSupply
from simulated_instruments.scope_probes import ScopeSockets
from simulated_instruments.world import MeterSockets, RelayContacts, SupplySockets, World

SUPPLIES = {
    "PS-1": SingleSupply,
    "PS-2": SelectedSupply,
    "PS-3": ChannelListSupply,
    "PS-4": ChannelWordSupply,
    "PS-5": FixedTextSupply,
    "PS-6": FixedDigitsSupply,
    "PS-7": LetterNumberSupply,
}
METERS = {"M-1": ConfReadMeter, "M-2": ShortWordsMeter}
RELAYS = {"W-1": SlotChannelRelays, "W-2": CardChannelRelays}  # W-3 leads to both of a meter's inputs at once
SCOPES: dict[str, type[RunningScope]] = {
    "O-1a": PreamblePointsScope,
    "O-1b": PreambleDataScope,
    "O-2": OutPreambleScope,
    "O-3a": TemplateScope,
    "O-3b": ScreenScaledScope,
}
COUNTERS = {"K-1": ArmingCounter, "K-2": ConfiguredCounter}


def devices_of(world: World, wiring: Wiring, clock: Clock, seed: int) -> dict[str, Device]:
    """The instruments of the wiring by name; raises `UsageError` for a device that there is none of."""
    return {name: device_of(world, wiring, clock, seed, name) for name in wiring.instruments}


def device_of(world: World, wiring: Wiring, clock: Clock, seed: int, name: str) -> Device:
    """One instrument."""
    kind, damage = wiring.instruments[name].device, world.damage
    if kind in SUPPLIES:
        supply: Device = SUPPLIES[kind](name, clock, SupplySockets(world, wiring.supply.instruments[name]), seed)
        if isinstance(supply, ChannelListSupply):
            first = wiring.supply.instruments[name]
            fed = [number for number in supply.outputs if feeds(world, first - 1 + number)]
            supply.outputs[min(fed, default=1)].tripped_on_volts = damage.latched
        return supply
    if kind in METERS:
        meter: Device = METERS[kind](name, clock, MeterSockets(world), seed)
        if isinstance(meter, ConfReadMeter):
            meter.held_range, meter.held_cycles = damage.held_range, damage.held_cycles
        return meter
    if kind == ConsoleRelays.model:
        return ConsoleRelays(name, clock, RelayContacts(world), seed, places=halves(wiring))
    if kind in RELAYS:
        return RELAYS[kind](name, clock, RelayContacts(world), seed)
    if kind in COUNTERS:
        return COUNTERS[kind](name, clock, CounterSockets(world.counted), seed)
    if kind in SCOPES:
        scope: RunningScope = SCOPES[kind](name, clock, ScopeSockets(world.probes), seed)
        leave_as_found(scope, damage)
        return scope
    raise UsageError(f"the wiring file names a device '{kind}' for '{name}', which there is none of")


def halves(wiring: Wiring) -> list[int]:
    """The relays of a board without slots as channels: the first half of them on the meter's HI, the others on its
    LO."""
    slots = (wiring.routes.high, wiring.routes.low) if wiring.routes is not None else (1, 2)
    return [100 * slot + position for slot in slots for position in range(1, CONSOLE_RELAYS // 2 + 1)]


def feeds(world: World, number: int) -> bool:
    """Whether output `number` of the bench leads to the board."""
    output = world.supply.outputs.get(number)
    return output is not None and output.feeds


def leave_as_found(scope: RunningScope, damage: BenchDamage) -> None:
    """What somebody has left set on a scope's front, and the dividers of the probes that are on it."""
    if isinstance(scope, PreambleDataScope):
        scope.held_coupling, scope.held_time_scale = damage.held_coupling, damage.held_time_scale
    scope.trigger.never = damage.never_triggers
    scope.converter.dividers |= damage.dividers
    scope.reset()  # it is switched on with its front panel as it stands
