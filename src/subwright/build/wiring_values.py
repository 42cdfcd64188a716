"""A design's wiring as values of its netlist."""

from __future__ import annotations

from subwright.base.standards import cable
from subwright.build.result import Design
from subwright.circuits.wiring_circuit import WiringValues
from subwright.physics.electrical import COPPER_RESISTIVITY_20_OHM_M
from subwright.stages.common import Corner
from subwright.stages.supply_sizing import run_ohm
from subwright.stages.wiring import Conductor

__all__ = ["battery_link", "fault_values", "inside_ohm", "wiring_values"]

_SINGLE_ENDED = ("class_d_half_bridge", "class_ab", "class_g")


def battery_link(design: Design) -> Conductor | None:
    """The link from each battery terminal of the unit to its board; None where a track does it."""
    for conductor in design.wiring.conductors:
        if conductor.name == "battery input" and conductor.link_advised:
            return conductor
    return None


def _sensed(design: Design) -> bool:
    """Whether the loudspeaker's return leads over a shunt."""
    trip = None if design.protection is None else design.protection.amplifier_current
    return trip is not None and trip.method == "shunt" and design.amplifier.kind in _SINGLE_ENDED


def _branches(design: Design) -> tuple[int, ...]:
    """Drivers in series of each parallel branch."""
    driver, compound = design.driver, design.spec.driver.compound
    rows = {
        "single": (1,),
        "series": (driver.count,),
        "parallel": (1,) * driver.count,
        "series-parallel": (2, 2),
    }[driver.connection]
    if compound == "parallel":
        return tuple(row for row in rows for _ in range(2))
    return tuple(2 * row for row in rows) if compound == "series" else rows


def wiring_values(
    design: Design,
    *,
    corner: Corner = Corner.NOMINAL,
    draw_a: float | None = None,
    run_conductor_c: float | None = None,
) -> WiringValues:
    """What the wiring's netlist is made from.

    Parameters
    ----------
    design : the build. corner : of the battery.
    draw_a : mean current of the unit, A; None for the corner's full power.
    run_conductor_c : temperature of the supply cable, °C; None for the one that the drop is reckoned at.
    """
    supply, spec, wiring = design.supply, design.spec.supply, design.wiring
    row = cable(supply.section_m2, spec.cable_standard)
    celsius = supply.conductor_c if run_conductor_c is None else run_conductor_c
    both = run_ohm(spec, row, min(celsius, 200.0))
    chassis = spec.return_path == "chassis"
    back = spec.chassis_resistance_ohm if chassis else 0.5 * both
    link = battery_link(design)
    reverse = None if design.battery_guard is None else design.battery_guard.reverse
    uses = {(stage, use.role): use.part_id for stage, use in design.part_uses()}
    return WiringValues(
        emf_v=supply.corners[corner],
        battery_ohm=supply.battery_resistance_ohm,
        contact_ohm=spec.contact_resistance_ohm,
        out_ohm=both - back,
        return_ohm=back,
        chassis=chassis,
        link_ohm=None if link is None else COPPER_RESISTIVITY_20_OHM_M * link.length_m / link.section_m2,
        guard_ohm=None if reverse is None or reverse.kind != "n_mosfet" else reverse.resistance_ohm,
        draw_a=supply.corner_average_a[corner] if draw_a is None else draw_a,
        amplifier_v=1.0,
        speaker_ohm=wiring.speaker.resistance_ohm,
        single_ended=design.amplifier.kind in _SINGLE_ENDED,
        driver_ohm=design.amplifier.load_ohm,
        branches=_branches(design),
        fuse_id=uses.get(("supply", "supply fuse"), ""),
        cable_id=uses.get(("supply", "supply cable, positive"), ""),
        link_id=uses.get(("wiring", "link, battery input"), ""),
        speaker_id=uses.get(("wiring", "speaker cable"), ""),
        driver_id=uses.get(("driver", "driver"), ""),
        sensed=_sensed(design),
    )


def inside_ohm(design: Design) -> float:
    """What the unit itself has in the battery's path: reverse-polarity switch and shunt, Ω.

    The supply counts them among its contacts.
    """
    return design.supply.contact_resistance_ohm - design.spec.supply.contact_resistance_ohm


def fault_values(design: Design) -> WiringValues:
    """The same with the unit's terminals shorted: charging battery, cable at ambient temperature."""
    return wiring_values(
        design, corner=Corner.CHARGING, draw_a=0.0, run_conductor_c=design.spec.supply.ambient_max_c
    )
