"""The instruments of a simulated bench: each device of a wiring at its terminals, with what is wrong with it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from autobench.errors import UsageError

if TYPE_CHECKING:
    from autobench.clock import Clock
    from simulated_instruments.benches.wiring import Wiring
    from simulated_instruments.devices.instrument import Device
    from simulated_instruments.world import World


def devices_of(world: World, wiring: Wiring, clock: Clock, seed: int) -> dict[str, Device]:
    """The instruments of the wiring, each at its terminals."""
    from simulated_instruments.devices.meter_conf_read import ConfReadMeter
    from simulated_instruments.devices.relays_slot_channel import SlotChannelRelays
    from simulated_instruments.devices.scope_preamble_data import PreambleDataScope
    from simulated_instruments.devices.supply_channel_list import ChannelListSupply
    from simulated_instruments.scope_probes import ScopeSockets
    from simulated_instruments.world import MeterSockets, RelayContacts, SupplySockets

    damage = world.damage

    def made(name: str, device: str) -> Device:
        if device == "PS-3":
            supply = ChannelListSupply(name, clock, SupplySockets(world), seed)
            supply.outputs[1].tripped_on_volts = damage.latched
            return supply
        if device == "M-1":
            meter = ConfReadMeter(name, clock, MeterSockets(world), seed)
            meter.held_range, meter.held_cycles = damage.held_range, damage.held_cycles
            return meter
        if device == "W-1":
            return SlotChannelRelays(name, clock, RelayContacts(world), seed)
        if device == "O-1b" and world.probes:
            scope = PreambleDataScope(name, clock, ScopeSockets(world.probes), seed)
            scope.held_coupling, scope.held_time_scale = damage.held_coupling, damage.held_time_scale
            scope.trigger.never = damage.never_triggers
            scope.converter.dividers |= damage.dividers
            scope.reset()  # it is switched on with its front panel as it stands
            return scope
        raise UsageError(f"the wiring file names a device '{device}' for '{name}', which there is none of")

    return {name: made(name, place.device) for name, place in wiring.instruments.items()}
