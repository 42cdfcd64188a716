"""Rules on the vehicle side: cable, fuse, running time, sag and transients."""

from __future__ import annotations

from collections.abc import Iterator

from subwright.base.units import show
from subwright.build.findings.rule import Measure, rule
from subwright.build.result import Design
from subwright.stages.common import Corner

__all__ = [
    "cable_drop",
    "conductor_temperature",
    "fault_section",
    "fuse_breaks",
    "fuse_carries",
    "fuse_protects",
    "fuse_voltage",
    "load_dump",
    "low_corner_sag",
    "running_time",
]

_LOAD_DUMP_V = {12: 35.0, 24: 58.0}  # centrally clamped, ISO 16750-2 test B
_INSULATION_C = 105.0  # thin-wall vehicle cable, class B


@rule(
    "SUP-01",
    stage="supply",
    severity="warn",
    title="Voltage drop in the battery cable",
    what="Drop of cable and return at the average current of a full sine, over the nominal voltage.",
    why="Every volt lost in the cable is lost at the crest too, where the amplifier clips, and it turns into "
    "battery sag that the protections see.",
    limit="supply.max_drop, 3 % unless set otherwise.",
    source="abyc-e11",
    example="20 A through 4 m of 2.5 mm² and back drop 1.2 V: 10 % of 12 V, far above 3 %.",
    remedy="Raise supply.section by one or two sizes, shorten supply.cable_length, or accept more with "
    "supply.max_drop.",
    near=0.05,
)
def cable_drop(design: Design) -> Iterator[Measure]:
    """Measure the drop as a ratio."""
    supply = design.supply
    yield Measure(
        quantity="cable drop over nominal voltage",
        value=supply.drop_ratio,
        limit=supply.drop_limit_ratio,
        dimension="share",
    )


@rule(
    "SUP-02",
    stage="supply",
    severity="stop",
    title="The fuse carries the load",
    what="Fuse rating against the rms current of a full sine at the least favourable battery, and against "
    "continuous programme with a quarter in hand.",
    why="A fuse near its rating ages and opens on a loud evening, far from home.",
    limit="The larger of the worst rms current and programme current over 0.75.",
    source="iso-8820-3",
    example="18 A of programme asks for at least 24 A: take 25 A.",
    remedy="Raise supply.fuse to the next standard rating, and supply.section with it.",
)
def fuse_carries(design: Design) -> Iterator[Measure]:
    """Measure the rating in A."""
    supply = design.supply
    yield Measure(
        quantity="fuse rating",
        value=supply.fuse_a,
        limit=supply.fuse_min_a,
        dimension="current",
        sense="at least",
    )


@rule(
    "SUP-03",
    stage="supply",
    severity="stop",
    title="The fuse protects the cable",
    what="Fuse rating against what the cable carries in this heat.",
    why="A fuse above the cable's rating lets the cable burn before it opens: the usual way vehicles catch "
    "fire.",
    limit="The cable's current rating, derated for the hottest air.",
    source="abyc-e11",
    example="A 30 A fuse on 2.5 mm² thin-wall cable (29 A) fails; 3 mm² (33 A) passes.",
    remedy="Raise supply.section, or lower supply.fuse.",
)
def fuse_protects(design: Design) -> Iterator[Measure]:
    """Measure the rating in A."""
    supply = design.supply
    yield Measure(quantity="fuse rating", value=supply.fuse_a, limit=supply.fuse_max_a, dimension="current")


@rule(
    "SUP-04",
    stage="supply",
    severity="stop",
    title="The fuse can break the short circuit",
    what="Current of a dead short right behind the fuse against the fuse's breaking capacity.",
    why="A battery gives thousands of amperes. Above its breaking capacity a fuse arcs instead of opening.",
    limit="Breaking capacity of the fuse body: 1 kA for blade fuses of ISO 8820-3.",
    source="iso-8820-3",
    example="13.8 V over 8 mΩ of battery and contacts is 1.7 kA: more than a blade fuse may break.",
    remedy="The body is chosen for the fault already. Measure the battery and note "
    "supply.internal_resistance, for an estimate errs low; where the fault is as large as this, fit a "
    "fuse made for battery banks, with that breaking capacity at this voltage, at the battery's post.",
)
def fuse_breaks(design: Design) -> Iterator[Measure]:
    """Measure the fault current in A."""
    supply = design.supply
    contacts = 0.5 * design.spec.supply.contact_resistance_ohm
    enough = (supply.battery_resistance_ohm + contacts) * supply.fault_a / supply.fuse_breaking_a - contacts
    yield Measure(
        quantity="short circuit behind the fuse",
        value=supply.fault_a,
        limit=supply.fuse_breaking_a,
        dimension="current",
        remedy=f"No {supply.fuse_body} fuse does: fit one that breaks {show(supply.fault_a, 'current')} or "
        f"more at {show(supply.fuse_voltage_needed_v, 'voltage')}, made for battery banks, at the battery's "
        "post. Or measure the battery: at a supply.internal_resistance of "
        f"{show(enough, 'resistance')} or more this one will do.",
    )


@rule(
    "SUP-05",
    stage="supply",
    severity="stop",
    title="The fuse stands the battery voltage",
    what="Voltage rating of the fuse against the highest battery voltage.",
    why="A 32 V fuse on a 48 V battery can keep an arc burning after its link has melted.",
    limit="The highest steady battery voltage.",
    source="iso-8820-3",
    example="58 V bodies exist for blade and bolt-down fuses; most shops sell the 32 V ones.",
    remedy="Buy the fuse in a body of the higher voltage.",
)
def fuse_voltage(design: Design) -> Iterator[Measure]:
    """Measure the rating in V."""
    supply = design.supply
    yield Measure(
        quantity="fuse voltage rating",
        value=supply.fuse_voltage_v,
        limit=supply.fuse_voltage_needed_v,
        dimension="voltage",
        sense="at least",
    )


@rule(
    "SUP-06",
    stage="supply",
    severity="warn",
    title="The cable survives until the fuse has cleared",
    what="Copper section against what the energy of a short at its far end needs, with the fuse's longest "
    "time.",
    why="Between the short and the open fuse all the heat stays in the copper.",
    limit="Adiabatic section of IEC 60364-5-54, for clearing within 5 s.",
    source="iec-60364-5-54",
    example="600 A for 0.1 s needs 1.3 mm² of PVC-insulated copper.",
    remedy="Raise supply.section.",
)
def fault_section(design: Design) -> Iterator[Measure]:
    """Measure the section in m²."""
    supply = design.supply
    if supply.fault_section_m2 is not None:
        yield Measure(
            quantity="copper section",
            value=supply.section_m2,
            limit=supply.fault_section_m2,
            dimension="area",
            sense="at least",
        )


@rule(
    "SUP-07",
    stage="supply",
    severity="note",
    title="Running time on the battery alone",
    what="Time with programme from a full battery to the usable depth, by Peukert's law.",
    why="An evening's music must not be the reason that the engine doesn't start.",
    limit="One hour; common practice, no source.",
    source="peukert1897",
    example="70 Ah lead-acid, half of it usable, at 9 A of programme: a bit over three hours.",
    remedy="Raise supply.capacity, lower goal.power, or keep the charger running.",
)
def running_time(design: Design) -> Iterator[Measure]:
    """Measure the time in s."""
    yield Measure(
        quantity="running time with programme",
        value=design.supply.runtime_s,
        limit=3600.0,
        dimension="time",
        sense="at least",
    )


@rule(
    "SUP-08",
    stage="supply",
    severity="note",
    title="A loud passage on a tired battery stays above the under-voltage trip",
    what="Terminal voltage with a full sine, low corner, at the crests that the sense filter lets through, "
    "against the trip's highest possible value.",
    why="If the sag of a bass hit reaches the trip, the music stops on the beat and starts again after it.",
    limit="Worst-case high end of the under-voltage trip.",
    source="derived",
    example="11.6 V sagging by 0.7 V stays above a trip of 10.5 V ± 0.2 V.",
    remedy="Thicken the cable (supply.section), lower protection.under_voltage_trip, or lower goal.power.",
    near=0.02,
)
def low_corner_sag(design: Design) -> Iterator[Measure]:
    """Measure the lowest terminal voltage in V."""
    trip = design.protection.thresholds.get("under-voltage trip")
    if trip is not None:
        yield Measure(
            quantity="terminal voltage behind the sense filter, low battery",
            value=design.supply.corners[Corner.LOW] - design.protection.chatter.need_v,
            limit=trip.window.worst_high,
            dimension="voltage",
            sense="at least",
        )


@rule(
    "SUP-09",
    stage="supply",
    severity="stop",
    title="Temperature of the cable",
    what="Conductor temperature with a full sine that never ends, in the hottest air.",
    why="Insulation that is cooked for a season cracks where it rubs.",
    limit="105 °C, class B of the vehicle-cable standards.",
    source="iso-6722-1",
    example="A cable at its rated current in 50 °C air runs close to its limit.",
    remedy="Raise supply.section.",
    near=0.03,
)
def conductor_temperature(design: Design) -> Iterator[Measure]:
    """Measure the temperature in °C."""
    yield Measure(
        quantity="conductor temperature",
        value=design.supply.conductor_c,
        limit=_INSULATION_C,
        dimension="temperature",
    )


@rule(
    "SUP-10",
    stage="supply",
    severity="warn",
    title="Load dump against the parts on the battery side",
    what="The load-dump level behind whatever clamps it against the lowest voltage rating that sees the "
    "battery.",
    why="When a battery falls off a charging alternator the bus jumps to the alternator's clamp for up to "
    "0.4 s, music or not.",
    limit="Lowest rating among controller (or the follower that feeds it), input capacitors and output "
    "stage.",
    source="iso-16750-2",
    example="35 V in a 12 V vehicle: 25 V input capacitors need a clamp in front of them.",
    remedy="Choose parts of the next voltage class (converter.input_capacitor, converter.controller), or fit "
    "a suppressor diode with a clamping voltage below that rating behind the fuse (battery_guard.clamp). "
    "Without an alternator on the bus this does not apply.",
)
def load_dump(design: Design) -> Iterator[Measure]:
    """Measure the clamped level in V against the weakest rating."""
    level = _LOAD_DUMP_V.get(design.spec.supply.system_v)
    if level is None:
        return
    if design.battery_guard is not None:  # the alternator has no clamp, or a suppressor holds it lower
        level = next((s.at_v for s in design.battery_guard.stresses if s.name.startswith("load dump")), level)
    if design.converter is not None:
        bank, feed = design.converter.input_bank.capacitor, design.converter.gate_supply
        ratings = {bank.id: bank.voltage_v}
        if feed is None:
            controller = design.converter.plan.controller
            ratings[controller.id] = controller.supply_max_v
        else:  # the follower takes the pulse; what it feeds sees its zener
            ratings[feed.transistor.id] = feed.transistor.vceo_v
    else:
        ratings = {design.amplifier.switch_id: design.amplifier.switch_voltage_limit_v}
    if design.boost is not None:  # its choke and diode lead the pulse on to the rail
        plan = design.boost.plan
        ratings |= {
            plan.input_bank.capacitor.id: plan.input_bank.capacitor.voltage_v,
            plan.rail_bank.capacitor.id: plan.rail_bank.capacitor.voltage_v,
            plan.switch.mosfet.id: plan.switch.mosfet.vds_v,
        }
        if plan.gate_supply is None:
            ratings[plan.controller.id] = plan.controller.supply_max_v
    weakest = min(ratings, key=lambda part: ratings[part])
    yield Measure(
        quantity="load dump",
        value=level,
        limit=ratings[weakest],
        dimension="voltage",
        at=weakest,
    )
