"""Rules on the converter's voltages and currents: rails, switches, rectifier, capacitors.

Timing, drive and the controller have a file of their own (``power_drive``), and so have ratings, heat and
wires (``power_heat``) and how far it all reaches (``power_reach``); importing this one registers them all.
"""

from __future__ import annotations

from collections.abc import Iterator

from subwright.build.findings import (  # noqa: F401  (importing registers the rules)
    power_drive,
    power_heat,
    power_reach,
)
from subwright.build.findings.rule import Measure, rule
from subwright.build.result import Design
from subwright.physics.class_d import PUMPING_WORST_MODULATION, rail_pumping_v
from subwright.stages.common import Corner, Level

__all__ = [
    "avalanche_energy",
    "drain_spike",
    "drain_voltage",
    "input_ripple",
    "rail_at_crest",
    "rail_capacitance",
    "rail_capacitor_voltage",
    "rail_ripple",
    "rail_unloaded",
    "rectifier_current",
    "rectifier_voltage",
]

_RAIL_SLACK = 0.01  # of the rail needed: below what a bench measurement tells apart
_AVALANCHE_SHARE = 0.5  # of the single-pulse energy, which is stated for a junction that starts at 25 °C
_PLAYING = (Corner.LOW, Corner.NOMINAL, Corner.CHARGING, Corner.MAX)


@rule(
    "CNV-01",
    stage="converter",
    severity="warn",
    title="The rail holds at the crest of full power",
    what="Working rail at the crest of a full sine, nominal battery, with every sag counted, against what "
    "the amplifier needs for its power.",
    why="The crest is where the amplifier clips. A rail that is right at idle and low at the crest costs "
    "power exactly when it is asked for.",
    limit="99 % of the rail that the amplifier needs.",
    source="derived",
    example="A stage that needs ±41 V and finds 40.2 V at the crest is 2 % short: 4 % of its power are gone.",
    remedy="Raise transformer.secondary_turns, thicken the cable (supply.section), or lower goal.power.",
)
def rail_at_crest(design: Design) -> Iterator[Measure]:
    """Measure the rail in V."""
    if design.converter is None:
        return
    yield Measure(
        quantity="working rail at the crest",
        value=design.point(Corner.NOMINAL, Level.FULL).rail_crest_v,
        limit=(1.0 - _RAIL_SLACK) * design.amplifier.rail_needed_v,
        dimension="voltage",
        sense="at least",
        at="nominal battery, full sine",
    )


@rule(
    "CNV-02",
    stage="converter",
    severity="stop",
    title="The unloaded rail doesn't break the amplifier",
    what="Rail at the highest battery with nothing playing, against the highest rail that the amplifier "
    "stands.",
    why="This converter doesn't regulate: the rail follows the battery and rises when the load goes away. "
    "The devices fail in silence, with nobody near.",
    limit="Highest rail of the amplifier: its voltage rating less amplifier.voltage_reserve and pumping.",
    source="derived",
    example="A ratio of 3.5 and 16 V give 56 V less 0.8 V in the diode: 55.2 V on a stage that stands 50 V.",
    remedy="Lower transformer.secondary_turns or goal.power, choose devices of a higher voltage "
    "(amplifier.mosfet), or set supply.max to what the over-voltage trip lets through.",
)
def rail_unloaded(design: Design) -> Iterator[Measure]:
    """Measure the rail in V."""
    if design.converter is None:
        return
    yield Measure(
        quantity="unloaded rail",
        value=design.converter.rail_unloaded_v,
        limit=design.converter.rail_max_v,
        dimension="voltage",
        at="highest battery",
    )


@rule(
    "CNV-03",
    stage="converter",
    severity="stop",
    title="The switches stand twice the battery",
    what="Twice the highest battery voltage and the allowance for the spike, against the rated drain "
    "voltage.",
    why="In a push-pull the switch that rests sees its own half-primary on top of the battery, so twice the "
    "battery is there in each cycle even without any spike.",
    limit="Rated drain-source voltage.",
    source="pressman1998",
    example="2 × 16 V × 1.3 = 41.6 V: a 55 V device serves, a 40 V one doesn't.",
    remedy="Choose a switch of the next voltage class (converter.mosfet).",
    near=0.05,
)
def drain_voltage(design: Design) -> Iterator[Measure]:
    """Measure the voltage in V."""
    if design.converter is None:
        return
    yield Measure(
        quantity="drain voltage with the spike allowed for",
        value=design.converter.plan.drain_limit_needed_v,
        limit=design.converter.drain_limit_v,
        dimension="voltage",
        at="highest battery",
    )


@rule(
    "CNV-04",
    stage="converter",
    severity="warn",
    title="The leakage spike is held",
    what="With a clamp: drain voltage with the clamp's ripple and diode drop, against 90 % of the rating. "
    "Without: energy in the leakage inductance at turn-off "
    "against what snubber and output capacitance take on the way to the rating.",
    why="What nothing takes, the switch clamps in avalanche, at each turn-off. Few data sheets promise that "
    "for years.",
    limit="0.9 V_DS at the highest battery and the crest; without a clamp ½ C (V_DS − 2 V)².",
    source="severns-snubbers",
    example="20 A in 40 nH are 8 µJ; 10 nF between 32 V and 60 V take 3.9 µJ: without a clamp the switch "
    "avalanches. With one, 97 A in 78 nH at 50 kHz are 37 W, and 39 Ω to 16 V hold the drains at 47 V.",
    remedy='Lower the leakage (transformer.lay = "twisted", short leads: transformer.lead), take a higher '
    'voltage class (converter.mosfet), or set converter.clamp = "auto"; then look at the drain with an '
    "oscilloscope.",
)
def drain_spike(design: Design) -> Iterator[Measure]:
    """Measure the voltage in V, or the energy in J."""
    converter = design.converter
    if converter is None or converter.topology == "full-bridge":
        return
    rest_v = 2.0 * design.supply.corners[Corner.MAX]
    if converter.clamp is not None:
        yield Measure(
            quantity="clamped drain voltage",
            value=converter.drain_peak_v,
            limit=converter.clamp.most_v,
            dimension="voltage",
            at="highest battery, crest of a full sine",
        )
        return
    mosfet = converter.plan.switch
    capacitance_f = converter.snubber_f + mosfet.per_side * mosfet.mosfet.coss_f
    yield Measure(
        quantity="leakage energy at turn-off",
        value=0.5 * capacitance_f * (converter.drain_ring_v - rest_v) ** 2,
        limit=0.5 * capacitance_f * max(converter.drain_limit_v - rest_v, 0.0) ** 2,
        dimension="energy",
        at="highest battery, crest of a full sine",
    )


@rule(
    "CNV-05",
    stage="converter",
    severity="stop",
    title="Energy of one avalanche",
    what="Energy that the leakage inductance and the battery put into one switch at the turn-off of a crest, "
    "where the spike reaches the rating: in normal work without a clamp, with one if a joint of it opens.",
    why="Devices in parallel don't share an avalanche: the one that breaks down first takes all of it.",
    limit="Half the single-pulse energy of one device, because its junction starts hot.",
    source="st-std50n03l",
    example="½ × 60 nH × (40 A)² is 48 µJ; the battery's help, 60/(60 − 32), makes 103 µJ. Small devices "
    "stand tens of millijoules.",
    remedy='Lower the leakage (transformer.lay = "twisted"), or choose a device with a higher avalanche '
    "energy (converter.mosfet).",
)
def avalanche_energy(design: Design) -> Iterator[Measure]:
    """Measure the energy in J."""
    converter = design.converter
    if converter is None or converter.drain_ring_v <= converter.drain_limit_v:
        return
    rated_j = converter.plan.switch.mosfet.eas_j
    reset_v = 2.0 * design.supply.corners[Corner.MAX]
    if rated_j is None or converter.drain_limit_v <= reset_v:
        return
    peak_a = max(design.point(corner, Level.FULL).primary_peak_a for corner in _PLAYING)
    stored_j = 0.5 * converter.magnetics.leakage_h * peak_a**2
    yield Measure(
        quantity="energy of one avalanche",
        value=stored_j * converter.drain_limit_v / (converter.drain_limit_v - reset_v),
        limit=_AVALANCHE_SHARE * rated_j,
        dimension="energy",
        at="crest of a full sine, highest battery",
    )


@rule(
    "CNV-06",
    stage="converter",
    severity="stop",
    title="Reverse voltage of the rectifier",
    what="Both unloaded rails in series and the allowance for ringing, against the repetitive reverse "
    "rating.",
    why="Each leg that rests sees both rails, and the leakage inductance rings on top when the other one "
    "lets go. A diode that breaks down shorts the secondary.",
    limit="Repetitive reverse voltage of the diode, of the weaker one where two types form the bridge.",
    source="pressman1998",
    example="2 × 48 V × 1.3 = 125 V: a 150 V diode keeps 17 % free.",
    remedy="Choose a diode of the next voltage class (converter.rectifier), or lower "
    "transformer.secondary_turns.",
    near=0.05,
)
def rectifier_voltage(design: Design) -> Iterator[Measure]:
    """Measure the voltage in V."""
    converter = design.converter
    if converter is None:
        return
    partner = converter.plan.rectifier.partner
    rated_v = converter.reverse_limit_v
    yield Measure(
        quantity="reverse voltage with ringing",
        value=converter.reverse_peak_v,
        limit=rated_v if partner is None else min(rated_v, partner.vrrm_v),
        dimension="voltage",
        at="highest battery, no load",
    )


@rule(
    "CNV-07",
    stage="converter",
    severity="stop",
    title="Mean current of a rectifier leg",
    what="Mean current of one leg with a full sine, at the battery voltage where it is highest.",
    why="Mean current times drop is the leg's heat, and the rating already assumes a cool case.",
    limit="Rated average forward current of one leg.",
    source="pressman1998",
    example="4 A mean out of a rail are 2 A in each of its two legs: an 8 A diode has 75 % in hand.",
    remedy="Choose a stronger diode (converter.rectifier).",
    near=0.2,
)
def rectifier_current(design: Design) -> Iterator[Measure]:
    """Measure the current in A."""
    if design.converter is None:
        return
    worst = max((design.point(corner, Level.FULL) for corner in _PLAYING), key=lambda p: p.diode_a)
    yield Measure(
        quantity="mean current of a rectifier leg",
        value=worst.diode_a,
        limit=design.converter.plan.rectifier.rectifier.if_a,
        dimension="current",
        at=f"{worst.corner.value} battery, full sine",
    )


@rule(
    "CNV-08",
    stage="converter",
    severity="warn",
    title="Ripple current of the input capacitors",
    what="Switching-frequency current of the input bank, with programme while charging and with a full sine "
    "at the nominal battery.",
    why="Ripple current heats a capacitor from inside. Every ten kelvin halve its life; far above the rating "
    "it boils and vents.",
    limit="Ripple rating of the whole bank at its highest temperature.",
    source="electrolytic-rule",
    example="9 A on three cans of 2.5 A: 20 % too much. Four cans carry it.",
    remedy="Choose cans of lower series resistance and higher ripple rating (converter.input_capacitor).",
    near=0.05,
)
def input_ripple(design: Design) -> Iterator[Measure]:
    """Measure the current in A."""
    if design.converter is None:
        return
    for corner, level in ((Corner.CHARGING, Level.PROGRAMME), (Corner.NOMINAL, Level.FULL)):
        yield Measure(
            quantity="ripple current of the input bank",
            value=design.point(corner, level).input_ripple_a,
            limit=design.converter.input_bank.ripple_limit_a,
            dimension="current",
            at=_where(corner, level),
        )


def _where(corner: Corner, level: Level) -> str:
    signal = "full sine" if level is Level.FULL else level.value
    return f"{corner.value} battery, {signal}"


@rule(
    "CNV-09",
    stage="converter",
    severity="warn",
    title="Ripple current of the rail capacitors",
    what="Switching-frequency current of one rail's bank, with programme while charging and with a full sine "
    "at the nominal battery.",
    why="The rectifier charges the bank in pulses while the amplifier drains it without pause; the "
    "difference heats it from inside.",
    limit="Ripple rating of the whole bank at its highest temperature.",
    source="electrolytic-rule",
    example="3 A on one can of 2.2 A: 36 % too much. Two smaller cans share it.",
    remedy="Choose cans with a higher ripple rating (converter.reservoir_capacitor), or more of them "
    "(converter.reservoir).",
    near=0.05,
)
def rail_ripple(design: Design) -> Iterator[Measure]:
    """Measure the current in A."""
    if design.converter is None:
        return
    for corner, level in ((Corner.CHARGING, Level.PROGRAMME), (Corner.NOMINAL, Level.FULL)):
        yield Measure(
            quantity="ripple current of a rail's bank",
            value=design.point(corner, level).reservoir_ripple_a,
            limit=design.converter.reservoir_bank.ripple_limit_a,
            dimension="current",
            at=_where(corner, level),
        )


@rule(
    "CNV-10",
    stage="converter",
    severity="stop",
    title="Voltage of the rail capacitors",
    what="Unloaded rail at the highest battery and, with a half-bridge, the rise by pumping at the lowest "
    "note, with the bank at its minus tolerance.",
    why="An electrolytic above its rated voltage leaks, heats up and vents hot electrolyte.",
    limit="Rated voltage of the capacitors.",
    source="derived",
    example="45 V pumped by 4 V are 49 V: a 50 V can has 2 % left, a 63 V can is the choice.",
    remedy="Choose cans of the next voltage class (converter.reservoir_capacitor), or raise "
    "converter.reservoir to pump less.",
    near=0.05,
)
def rail_capacitor_voltage(design: Design) -> Iterator[Measure]:
    """Measure the voltage in V."""
    converter = design.converter
    if converter is None:
        return
    rail_v = converter.rail_unloaded_v
    pumped_v = 0.0
    if design.amplifier.pumping_v is not None:
        bank = converter.reservoir_bank
        pumped_v = rail_pumping_v(
            rail_v,
            PUMPING_WORST_MODULATION,
            design.goal.lowest_note_hz,
            design.amplifier.load_ohm,
            bank.capacitance_f * (1.0 - bank.capacitor.tolerance),
        )
    yield Measure(
        quantity="rail with pumping" if pumped_v else "rail",
        value=rail_v + pumped_v,
        limit=converter.rail_limit_v,
        dimension="voltage",
        at="highest battery",
    )


@rule(
    "CNV-11",
    stage="converter",
    severity="warn",
    title="Rail capacitance at the short end of its tolerance",
    what="Capacitance of one rail's bank at minus tolerance against what ripple and pumping need.",
    why="Electrolytics are sold at ±20 %, and they lose capacitance as they age.",
    limit="Capacitance needed for ripple and pumping, or converter.reservoir where it is given.",
    source="derived",
    example="2 × 2200 µF at −20 % are 3520 µF: short of 3900 µF.",
    remedy="Add a can or take a larger one (converter.reservoir_capacitor).",
)
def rail_capacitance(design: Design) -> Iterator[Measure]:
    """Measure the capacitance in F."""
    converter = design.converter
    if converter is None:
        return
    bank = converter.reservoir_bank
    yield Measure(
        quantity="capacitance of one rail, least",
        value=bank.capacitance_f * (1.0 - bank.capacitor.tolerance),
        limit=converter.reservoir_needed_f * (1.0 - 1e-9),
        dimension="capacitance",
        sense="at least",
    )
