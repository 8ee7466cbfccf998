"""What the simulated rig needs beyond the rig description, in one place."""

from dataclasses import dataclass

from monitor.units import L_PER_MIN, LITRE

HOUR = 3600.0
DAY = 86400.0


@dataclass(frozen=True, slots=True)
class Extras:
    """Constants of the demo rig that no configuration holds. SI units; hours where it says so.

    'sheet' = the invented rig sheet of the demo scenario; 'assumed' = a free choice of that
    scenario or of this simulator. What a rig describes itself (areas, lips, rims, break level,
    head, pump flow, bore of an overflow line) is taken from there and not from here; the values
    here marked 'default' stand in where the description is silent.
    """

    # Water
    weir: float = 1.84
    """Sharp-crested weir in SI, Q = 1.84 L x^1.5 (Francis form, from memory)."""
    lip_bore: float = 0.050
    """Standpipe of an overflow, m: its rim is the weir (sheet; default)."""
    siphon_head: float = 1.05
    """Header lip over larval surface, m (sheet; default)."""
    break_level: float = 0.12
    """Level at which a siphon draws air and breaks, m (sheet, measured; default)."""
    pump_flow: float = 9.0 * L_PER_MIN
    """What a pump gives at its head (sheet; default)."""
    pump_mouth: float = 0.09
    """Level in a sump at which its pump sucks air, m (sheet)."""
    riser: float = 3.0 * LITRE
    """Water in the pump's riser; it runs back whenever the pump stops (sheet)."""
    sump_level: float = 0.32
    """Running level of a sump, m (sheet)."""
    pipes: float = 55.0 * LITRE
    """Biofilter and pipes (sheet)."""
    reference_volume: float = 1137.2 * LITRE
    """Water of the demo rig: 720 + 186.2 + 176 + 55 L. Heat and evaporation figures belong to
    it; another rig gets them in proportion to its own volume (assumed)."""
    evaporation: float = 4.5 * LITRE / DAY
    """Water lost to the air with lids on header and sump (assumed)."""
    wet_floor: float = 0.5 * LITRE
    """Spilled water that reaches a floor pad (assumed)."""
    salinity: float = 34.0
    """g/kg at the start (sheet)."""

    # Heat
    heat_capacity: float = 4.65e6
    """Whole system, J/K: 1,137 L x 1.022 kg/L x 4,000 J/kg/K (sheet)."""
    heat_loss: float = 75.0
    """Whole system to the room, W/K (assumed)."""
    evaporation_heat: float = 127.0
    """Cooling of the whole system by evaporation, W (sheet: 4.5 L/d)."""
    tank_volume: float = 720.0 * LITRE
    """Larval tank the next three belong to (sheet)."""
    tank_capacity: float = 2.94e6
    """Larval tank alone, J/K (sheet)."""
    tank_loss: float = 34.0
    """Larval tank alone to the room, W/K (assumed)."""
    tank_evaporation_heat: float = 57.0
    """Evaporation cooling of the larval tank alone, W (assumed)."""
    volumetric_heat: float = 1022.0 * 4000.0
    """J/K per m3 of sea water as the sheet rounds it; carries heat with the siphon flow."""
    pump_heat: float = 80.0
    """Of the pump's 95 W, what ends in the water (sheet)."""
    light_heat: float = 45.0
    """Light into the larval tank, W (assumed)."""
    chiller_power: float = 150.0
    """Heat taken at a room of 27 C, W; 3 % of it less per degree above (assumed)."""
    chiller_loss: float = 0.03
    chiller_on: float = 26.6
    chiller_off: float = 26.4
    heater_power: float = 200.0
    heater_on: float = 25.9
    heater_off: float = 26.1
    """Thermostats in the sump loop, C (sheet)."""

    # Room
    ramp: tuple[float, float, float] = (9.0 * HOUR, 16.5 * HOUR, 23.0 * HOUR)
    """Room air: base until the first, straight to the peak at the second, straight to the next
    base by the third, seconds after midnight (assumed). The outside air follows it too."""
    unpowered_above_outside: float = 10.0
    """A room without power goes to the outside temperature plus this (22 C at 12 C, assumed)."""
    unpowered_time: float = 3.0 * HOUR
    """Time constant of that (assumed)."""
    return_time: float = 0.7 * HOUR
    """Time constant with which the room air conditioner brings it back (assumed)."""
    cycle: tuple[float, float] = (0.3, 840.0)
    """Swing (C) and period (s) of the return air under the room air conditioner (sheet)."""

    # Power, air, light
    light_hours: tuple[float, float] = (6.5 * HOUR, 19.5 * HOUR)
    """Mechanical timer on the pump strip (sheet)."""
    light: tuple[float, float] = (1.0, 1000.0)
    """Dark and lit, lx (sheet: 0-3 and 900-1,100)."""
    air: tuple[float, float] = (13.0e3, 6.0e3)
    """Manifold pressure on mains air and on battery air, Pa (sheet)."""
    air_battery: float = 15.0 * HOUR
    """The battery air pump runs so long: 10 W on 12 V 18 Ah (sheet)."""
    watch_battery: float = 4.6 * HOUR
    """Watch, router and modem run so long: 14 W on 12 V 9 Ah (sheet)."""
    charge_time: float = 10.0 * HOUR
    """Either battery from empty to full (assumed)."""
    volts: tuple[float, float, float] = (11.6, 12.7, 13.6)
    """Battery empty and full under load, and on charge, V (lead-acid, from memory)."""
    chiller_current: tuple[float, float] = (0.03, 0.9)
    """Idle and running, A (sheet)."""
    pump_current: float = 0.8
    """95 W at 120 V, A (assumed supply voltage)."""
    watch_circuit: str = "B2"
    """Feeds the watch charger and the mains side of the air pump (sheet)."""
    chiller_circuit: str = "B3"
    """Feeds the chiller (sheet) and the heater (assumed)."""
    room_circuit: str = "B4"
    """Feeds the room air conditioner (sheet). A circuit that the rig lacks counts as live."""

    # Hands
    hand_seed: int = 7
    """Seed of the scatter with which people set the siphon valve (sheet)."""


DEMO = Extras()
"""The demo rig's values."""
