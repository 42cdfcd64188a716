"""Parts that change an amplifier's rails, and in plain sentences what they do."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from subwright.base.units import code, show
from subwright.parts.library import Library
from subwright.stages.amplifier_rail_records import RailSwitching
from subwright.stages.amplifier_spec import AmplifierResult
from subwright.stages.common import PartUse, Rating

__all__ = ["rail_sentences", "rail_uses"]

_SPEED_UP: Final = "1N4148"
_SHARED: Final = frozenset({"threshold reference feed"})
_CAN_VOLTAGES_V: Final = (25.0, 35.0, 50.0, 63.0, 100.0, 160.0)
_SIZES_W: Final = (0.25, 0.5, 1.0, 2.0, 3.0, 5.0)


def rail_uses(result: AmplifierResult, library: Library) -> Iterator[PartUse]:
    """Parts list of what changes the rails.

    Parameters
    ----------
    result : the stage's numbers. library : with the drawer merged.

    Returns
    -------
    Parts, role unique in each; none where the rails stand still.
    """
    rails = result.rail_switching
    if rails is None:
        return
    yield from _diodes(rails, library)
    if rails.form == "lifted":
        yield from _lifting(result, rails, library)
    else:
        yield from _two_pairs(result, rails, library)
    for role, ohms in rails.resistors_ohm.items():
        watts = _feed_w(result, rails) if role.startswith("follower") else 0.0
        size = next((w for w in _SIZES_W if watts <= 0.5 * w), _SIZES_W[-1])
        yield PartUse(
            role=role,
            letter="R",
            part_id=code(ohms, "resistance"),
            description=f"resistor {size:g} W",
            quantity=1 if role in _SHARED else 2,
            value=show(ohms, "resistance"),
            tolerance=0.01 if role.startswith("threshold") else 0.05,
            ratings=(Rating(quantity="power", unit="W", applied=watts, limit=size, at="idle, highest rail"),)
            if watts
            else (),
            provenance="IEC 60063 preferred value",
        )
    for role, farads in rails.capacitors_f.items():
        rated = next((v for v in _CAN_VOLTAGES_V if v >= 1.25 * _boot_v(result)), 250.0)
        yield PartUse(
            role=role,
            letter="C",
            part_id=code(farads, "capacitance"),
            description=f"electrolytic capacitor {rated:g} V",
            quantity=2,
            value=show(farads, "capacitance"),
            tolerance=0.20,
            ratings=(
                Rating(quantity="voltage", unit="V", applied=_boot_v(result), limit=rated, at="highest rail"),
            ),
            provenance="IEC 60063 preferred value",
        )


def _boot_v(result: AmplifierResult) -> float:
    """Half of what lies between the highest rail and the resting output, V."""
    return 0.5 * result.rail_expected_v


def _feed_w(result: AmplifierResult, rails: RailSwitching) -> float:
    """Heat of one of a follower's two feeding resistors at rest, W."""
    across = 0.5 * (result.rail_expected_v - rails.zener_v)
    return across**2 / rails.resistors_ohm["follower feed"]


def _diodes(rails: RailSwitching, library: Library) -> Iterator[PartUse]:
    part = library.rectifiers[rails.diode_id]
    yield PartUse(
        role="commutation diode",
        letter="D",
        part_id=part.id,
        description=part.summary() + (", both legs in parallel" if part.legs == 2 else ""),
        quantity=2,
        ratings=(
            Rating(
                quantity="average current",
                unit="A",
                applied=rails.diode_a,
                limit=rails.diode_limit_a,
                at="full sine into the least impedance",
            ),
            Rating(
                quantity="reverse voltage",
                unit="V",
                applied=rails.diode_reverse_v,
                limit=rails.diode_reverse_limit_v,
                at="crest, highest battery",
            ),
        ),
        in_drawer=library.in_drawer(part.id) >= 2,
        provenance=part.provenance.document,
    )


def _mosfet(role: str, part_id: str, count: int, rails: RailSwitching, library: Library) -> PartUse:
    part = library.mosfets[part_id]
    return PartUse(
        role=role,
        letter="Q",
        part_id=part.id,
        description=part.description or part.summary(),
        quantity=count,
        ratings=(
            Rating(
                quantity="drain-source voltage",
                unit="V",
                applied=rails.upper_v,
                limit=part.vds_v,
                at="highest battery",
            ),
            Rating(
                quantity="drain current",
                unit="A",
                applied=rails.upper_a,
                limit=0.5 * part.id_a,
                at="crest into the least impedance; half of the rating",
            ),
        ),
        in_drawer=library.in_drawer(part.id) >= count,
        provenance=part.provenance.document,
    )


def _lifting(result: AmplifierResult, rails: RailSwitching, library: Library) -> Iterator[PartUse]:
    yield _mosfet("lifting switch", rails.upper_id, 2, rails, library)
    yield _mosfet("charging switch", rails.lower_id, 2, rails, library)
    comparator = library.comparator(rails.comparator_id)
    yield PartUse(
        role="lifting comparator",
        letter="U",
        part_id=comparator.id,
        description=comparator.description or "dual comparator, open collector",
        quantity=1,
        ratings=(
            Rating(
                quantity="supply",
                unit="V",
                applied=result.rail_expected_v,
                limit=comparator.supply_max_v,
                at="highest battery",
            ),
        ),
        in_drawer=library.in_drawer(comparator.id) > 0,
        provenance=comparator.provenance.document,
    )
    reference = library.reference(rails.reference_id)
    yield PartUse(
        role="threshold shunt reference",
        letter="U",
        part_id=reference.id,
        description=reference.description or "adjustable shunt reference, as 2.5 V",
        quantity=1,
        in_drawer=library.in_drawer(reference.id) > 0,
        provenance=reference.provenance.document,
    )
    for role, part_id in zip(("gate buffer NPN", "gate buffer PNP"), rails.buffer_ids, strict=True):
        part = library.transistors[part_id]
        yield PartUse(
            role=role,
            letter="Q",
            part_id=part.id,
            description=part.description or "small transistor",
            quantity=2,
            in_drawer=library.in_drawer(part.id) >= 2,
            provenance=part.provenance.document,
        )
    yield PartUse(
        role="gate speed-up diode",
        letter="D",
        part_id=_SPEED_UP,
        description="small-signal switching diode",
        quantity=4,
        provenance="memory",
    )
    yield PartUse(
        role="comparator decoupling",
        letter="C",
        part_id=code(100e-9, "capacitance"),
        description="ceramic capacitor 50 V",
        quantity=1,
        value=show(100e-9, "capacitance"),
        tolerance=0.20,
        provenance="common practice",
    )


def _two_pairs(result: AmplifierResult, rails: RailSwitching, library: Library) -> Iterator[PartUse]:
    yield _mosfet("positive follower", rails.upper_id, 1, rails, library)
    yield _mosfet("negative follower", rails.lower_id, 1, rails, library)
    zener = library.zener(rails.zener_id)
    yield PartUse(
        role="follower zener",
        letter="VR",
        part_id=zener.id,
        description=zener.description or f"zener diode {zener.vz_v:g} V {zener.power_w:g} W",
        quantity=2,
        in_drawer=library.in_drawer(zener.id) >= 2,
        provenance=zener.provenance.document,
    )
    part = library.rectifiers[rails.rectifier_id]
    yield PartUse(
        role="inner rectifier",
        letter="D",
        part_id=part.id,
        description=part.summary() + (", both legs in parallel" if part.legs == 2 else ""),
        quantity=4,
        ratings=(
            Rating(
                quantity="average current",
                unit="A",
                applied=rails.rectifier_a,
                limit=rails.rectifier_limit_a,
                at="full sine into the least impedance",
            ),
            Rating(
                quantity="reverse voltage",
                unit="V",
                applied=2.0 * rails.inner_ratio * result.rail_expected_v,
                limit=part.vrrm_v,
                at="highest battery",
            ),
        ),
        in_drawer=library.in_drawer(part.id) >= 4,
        provenance=part.provenance.document,
    )
    can = library.capacitors[rails.reservoir_id]
    yield PartUse(
        role="inner reservoir",
        letter="C",
        part_id=can.id,
        description=f"{can.description}, {rails.reservoir_count} in parallel on each inner rail",
        quantity=2 * rails.reservoir_count,
        value=show(can.capacitance_f, "capacitance"),
        tolerance=can.tolerance,
        ratings=(
            Rating(
                quantity="voltage",
                unit="V",
                applied=rails.inner_ratio * result.rail_expected_v,
                limit=can.voltage_v,
                at="highest battery",
            ),
        ),
        in_drawer=library.in_drawer(can.id) >= 2 * rails.reservoir_count,
        provenance=can.provenance.document,
    )


def rail_sentences(result: AmplifierResult) -> Iterator[str]:
    """What changes the rails, and what it saves.

    Parameters
    ----------
    result : the stage's numbers.
    """
    rails = result.rail_switching
    if rails is None:
        return
    if rails.form == "lifted":
        yield (
            f"Each leg's rail is lifted by {show(result.lift_f, 'capacitance')}: the lowest note's crest "
            f"takes its charge from there ({show(result.lift_needed_f, 'capacitance')} needed). A comparator "
            f"lifts it when the leg's output passes {show(rails.trip_v, 'voltage')}, "
            f"{show(rails.head_v, 'voltage')} below the battery, and lets go at "
            f"{show(rails.release_v, 'voltage')}."
        )
    else:
        yield (
            f"Inner rails of ±{show(rails.inner_ratio * result.rail_needed_v, 'voltage')} feed the output up "
            f"to {show(rails.trip_v, 'voltage')}; above it MOSFETs on the outer rails follow at the distance "
            f"that {rails.zener_id} keeps. Tap each half of the secondary at "
            f"{100.0 * rails.inner_ratio:.0f} % of its turns for them."
        )
    quiet = result.rail_heat[1]
    loud = result.rail_heat[-1]
    yield (
        f"Heat of the output with {quiet.level}: {show(quiet.switched_w, 'power')}, against "
        f"{show(quiet.plain_w, 'power')} of plain class AB on the upper rail; with a full sine "
        f"{show(loud.switched_w, 'power')} against {show(loud.plain_w, 'power')}."
    )
