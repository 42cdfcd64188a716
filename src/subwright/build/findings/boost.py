"""Rules on the boost converter's power stage: reach, choke, switch, rectifier, capacitors, connection.

Its control has a file of its own (``boost_control``); importing this one registers both.
"""

from __future__ import annotations

from collections.abc import Iterator

from subwright.build.findings import boost_control  # noqa: F401  (importing registers the rules)
from subwright.build.findings.rule import Measure, rule
from subwright.build.result import Design
from subwright.build.topology import BOOST_RATIO, BRIDGE_LEAST_V, PUSH_PULL_MOST_V, single_rail_v
from subwright.physics.capacitors import electrolytic_life_s
from subwright.stages.common import Corner, Level

__all__ = [
    "battery_below_rail",
    "capacitor_ripple",
    "capacitor_voltage",
    "choke_flux",
    "choke_heat",
    "disconnection",
    "duty_room",
    "efficiency",
    "inrush",
    "life",
    "rail_held",
    "rectifier_current",
    "rectifier_voltage",
    "switch_voltage",
    "topology_fit",
]

_BELOW = 0.97  # of the rail: what the diode and the least duty need
_LEAST_ROOM = 0.05
_CHOKE_C = 110.0
_LIFE_S = 5000.0 * 3600.0
_SELF_HEAT_K = 5.0
_EFFICIENCY = 0.88


@rule(
    "TOP-01",
    stage="converter",
    severity="warn",
    title="The topology suits battery and amplifier",
    what="For the topology that the build has: rail over tired battery (boost), highest battery (push-pull), "
    "nominal battery (full bridge).",
    why="Each has its place: a boost converter for one rail of a few times the battery, a push-pull for low "
    "batteries, a bridge of four switches for high ones. Outside it the parts work against the topology.",
    limit="Boost: a rail of 4 times the tired battery; push-pull: a highest battery of 40 V; full bridge: a "
    "nominal battery of 18 V. Common practice, no source.",
    source="common-practice",
    example="A push-pull on a 48 V battery stands 2 × 58 V and a spike, some 150 V; a full bridge stands "
    "58 V.",
    remedy='Set converter.topology = "full-bridge" on 36 and 48 V, "push-pull" on 12 V; in place of a steep '
    "boost take rails, or a load of lower impedance that needs less voltage.",
)
def topology_fit(design: Design) -> Iterator[Measure]:
    """Measure the ratio, or the battery in V."""
    corners = design.supply.corners
    if design.boost is not None:
        yield Measure(
            quantity="raised rail over the tired battery",
            value=single_rail_v(design) / corners[Corner.LOW],
            limit=BOOST_RATIO,
            dimension="ratio",
        )
    elif design.converter is not None and design.converter.topology == "push-pull":
        yield Measure(
            quantity="highest battery of a push-pull",
            value=corners[Corner.MAX],
            limit=PUSH_PULL_MOST_V,
            dimension="voltage",
        )
    elif design.converter is not None:
        yield Measure(
            quantity="nominal battery of a full bridge",
            value=corners[Corner.NOMINAL],
            limit=BRIDGE_LEAST_V,
            dimension="voltage",
            sense="at least",
        )


@rule(
    "BST-01",
    stage="boost",
    severity="stop",
    title="The battery stays below the raised rail",
    what="Highest battery against the rail that is set.",
    why="A boost converter only lifts. A battery above the rail runs straight through choke and diode: the "
    "rail follows it, nothing is regulated, and the amplifier gets what it was not designed for.",
    limit="97 % of the rail set.",
    source="erickson2001",
    example="A rail of 15 V on a battery that charges at 14.4 V leaves 0.6 V: not enough to hold.",
    remedy="Raise converter.rail or goal.power, or run the bridge straight from the battery: "
    'converter.topology = "none".',
)
def battery_below_rail(design: Design) -> Iterator[Measure]:
    """Measure the battery in V."""
    if design.boost is None:
        return
    yield Measure(
        quantity="highest battery",
        value=design.supply.corners[Corner.MAX],
        limit=_BELOW * design.boost.set_v,
        dimension="voltage",
    )


@rule(
    "BST-02",
    stage="boost",
    severity="warn",
    title="Duty in hand on a tired battery",
    what="Greatest duty that the controller's timing allows less the duty at the crest of a full sine on the "
    "tired battery.",
    why="Duty grows with every sag. At its limit the rail falls, the loop winds up, and beyond the "
    "converter's "
    "own maximum more duty gives less rail.",
    limit="0.05; common practice, no source.",
    source="common-practice",
    example="A greatest duty of 0.80 and 0.65 at the crest leave 0.15.",
    remedy="Thicken the cable (supply.section), lower goal.power, or lower converter.rail.",
)
def duty_room(design: Design) -> Iterator[Measure]:
    """Measure the room as a share."""
    if design.boost is None:
        return
    yield Measure(
        quantity="duty in hand",
        value=design.boost.duty_room,
        limit=_LEAST_ROOM,
        dimension="share",
        sense="at least",
        at="crest, tired battery",
    )


@rule(
    "BST-03",
    stage="boost",
    severity="warn",
    title="The raised rail holds on a tired battery",
    what="Least battery at rest that still holds the rail at the crest of a full sine, cable and converter "
    "counted, against the low corner.",
    why="Below it the rail follows the battery at twice the bass note, and the amplifier clips early.",
    limit="Low corner of the battery.",
    source="erickson2001",
    example="A rail that holds down to 8.1 V has 3.4 V in hand on a battery that goes down to 11.5 V.",
    remedy="Thicken the cable (supply.section), lower goal.power, or use a battery of less resistance "
    "(supply.internal_resistance).",
)
def rail_held(design: Design) -> Iterator[Measure]:
    """Measure the battery in V."""
    if design.boost is None:
        return
    yield Measure(
        quantity="battery down to which the raised rail holds",
        value=design.boost.holds_from_v,
        limit=design.supply.corners[Corner.LOW],
        dimension="voltage",
        at="crest of a full sine",
    )


@rule(
    "BST-04",
    stage="boost",
    severity="stop",
    title="Voltage of the boost switch",
    what="Highest rail and diode with the allowance for ringing, the rail at which the second stop acts, "
    "and a "
    "clamped load dump, each against the switch's rating.",
    why="The switch sees the rail, not the battery; and what comes over the battery comes through the "
    "diode to "
    "the rail as if the converter were not there.",
    limit="Drain-source rating.",
    source="erickson2001",
    example="32.2 V and 0.5 V with 30 % of ringing are 42.5 V: a 60 V switch keeps 29 % free.",
    remedy="Choose a switch of the next voltage class (converter.mosfet), or lower converter.rail.",
)
def switch_voltage(design: Design) -> Iterator[Measure]:
    """Measure the voltages in V."""
    boost = design.boost
    if boost is None:
        return
    for quantity, value in (
        ("drain of the boost switch with ringing", boost.drain_peak_v),
        ("drain of the boost switch when the second stop acts", boost.plan.guard.most_v),
        ("drain of the boost switch in a load dump", boost.plan.demand.pulse_v),
    ):
        yield Measure(quantity=quantity, value=value, limit=boost.drain_limit_v, dimension="voltage")


@rule(
    "BST-05",
    stage="boost",
    severity="stop",
    title="Reverse voltage of the boost rectifier",
    what="Highest rail with the allowance for ringing against the rectifier's rating.",
    why="While the switch is on the whole rail stands across the diode, and its capacitance rings with the "
    "loop.",
    limit="Repetitive reverse rating.",
    source="erickson2001",
    example="32.2 V with 30 % of ringing are 41.8 V: a 45 V Schottky has 7 % in hand, a 60 V one 30 %.",
    remedy="Choose a rectifier of the next voltage class (converter.rectifier), or shorten its loop and "
    "lower "
    "converter.ringing_allowance.",
)
def rectifier_voltage(design: Design) -> Iterator[Measure]:
    """Measure the voltage in V."""
    if design.boost is None:
        return
    yield Measure(
        quantity="reverse voltage of the boost rectifier",
        value=design.boost.reverse_peak_v,
        limit=design.boost.reverse_limit_v,
        dimension="voltage",
    )


@rule(
    "BST-06",
    stage="boost",
    severity="warn",
    title="Mean current of the boost rectifier",
    what="Mean current of one leg with a full sine against its rating.",
    why="All of the output current passes the diode. Legs in parallel share only as well as their heat does.",
    limit="The leg's average rating.",
    source="erickson2001",
    example="7.1 A through a case of two legs of 20 A are 3.6 A each.",
    remedy="Choose a stronger rectifier (converter.rectifier), or lower goal.power.",
)
def rectifier_current(design: Design) -> Iterator[Measure]:
    """Measure the current in A."""
    boost = design.boost
    if boost is None:
        return
    yield Measure(
        quantity="mean current of one rectifier leg",
        value=boost.diode_mean_a / boost.plan.diode.legs,
        limit=boost.plan.diode.rectifier.if_a,
        dimension="current",
        at="full sine",
    )


@rule(
    "BST-07",
    stage="boost",
    severity="stop",
    title="The boost choke stays out of saturation",
    what="Flux density at the highest crest against 75 % of saturation at 100 °C, and at the most that the "
    "current limit lets through against saturation itself. A ring of powder saturates gently: its crest is "
    "held to the flux density at which half of its inductance is left.",
    why="A saturated choke is a wire: the current rises a hundredfold faster than the controller looks, and "
    "the switch dies within a cycle.",
    limit="75 % and 100 % of the grade's saturation at 100 °C; common practice, no source.",
    source="common-practice",
    example="8 µH, 45 A, 6 turns on 280 mm² are 214 mT, of 390 mT at which N87 saturates hot.",
    remedy="Choose a larger core (converter.choke_core), more ripple (converter.ripple: less inductance), "
    "or a "
    "higher converter.switching.",
    near=0.02,
)
def choke_flux(design: Design) -> Iterator[Measure]:
    """Measure the flux densities in T."""
    if design.boost is None:
        return
    choke = design.boost.plan.choke
    yield Measure(
        quantity="flux density of the boost choke",
        value=choke.flux_crest_t,
        limit=1.03 * choke.flux_limit_t,  # the last gap step may cost so much
        dimension="flux density",
        at="highest crest",
    )
    yield Measure(
        quantity="flux density of the boost choke at the current limit",
        value=choke.flux_fault_t,
        limit=choke.saturation_t,
        dimension="flux density",
        at="highest limit",
    )


@rule(
    "BST-08",
    stage="boost",
    severity="warn",
    title="Heat of the boost choke",
    what="Temperature of the choke with programme in the hottest air, by the severest of the published "
    "rules.",
    why="Copper and ferrite both lose more when hot; and the insulation between strands is all there is.",
    limit="110 °C; common practice, no source.",
    source="common-practice",
    example="1.5 W on an ETD39 in 50 °C air: 24 K by the thermal resistance of 16 K/W, 74 °C.",
    remedy="Choose a larger core (converter.choke_core), or less ripple (converter.ripple).",
)
def choke_heat(design: Design) -> Iterator[Measure]:
    """Measure the temperature in °C."""
    if design.boost is None:
        return
    yield Measure(
        quantity="boost choke",
        value=design.boost.choke_c[Level.PROGRAMME],
        limit=_CHOKE_C,
        dimension="temperature",
        at="programme, hottest air",
    )


@rule(
    "BST-09",
    stage="boost",
    severity="warn",
    title="Ripple current of input and rail capacitors",
    what="Rms ripple current of the input bank and of the rail's bank with a full sine, on the hardest "
    "battery, "
    "against their ratings.",
    why="In a boost converter the rail's capacitors carry the whole current while the switch is on and are "
    "slammed with the choke's when it turns off: they work hardest of all parts.",
    limit="The cans' ripple rating at their rated temperature.",
    source="erickson2001",
    example="13.8 A at a duty of 0.65 are 13.8 A × sqrt(0.65/0.35) = 18.8 A rms at the crest, 11.8 A over a "
    "sine.",
    remedy="More or better cans: converter.reservoir, converter.reservoir_capacitor, "
    "converter.input_capacitor.",
)
def capacitor_ripple(design: Design) -> Iterator[Measure]:
    """Measure the currents in A."""
    boost = design.boost
    if boost is None:
        return
    for quantity, value, bank in (
        ("ripple current of the input capacitors", boost.input_ripple_a, boost.plan.input_bank),
        ("ripple current of the raised rail's capacitors", boost.rail_ripple_a, boost.plan.rail_bank),
    ):
        yield Measure(quantity=quantity, value=value, limit=bank.ripple_limit_a, dimension="current")


@rule(
    "BST-10",
    stage="boost",
    severity="stop",
    title="Voltage of the raised rail's capacitors",
    what="Highest rail at which the second stop acts, and a clamped load dump, against the cans' rating.",
    why="An electrolytic above its rating heats, swells and vents. The rail gets what the divider asks for, "
    "what the second stop allows, and what the battery brings.",
    limit="Rated voltage.",
    source="common-practice",
    example="A second stop at 36.9 V and a dump of 35 V: 50 V cans keep 26 % free, 35 V cans none.",
    remedy="Choose cans of the next voltage class (converter.reservoir_capacitor), or lower converter.rail.",
)
def capacitor_voltage(design: Design) -> Iterator[Measure]:
    """Measure the voltage in V."""
    boost = design.boost
    if boost is None:
        return
    yield Measure(
        quantity="raised rail at its worst",
        value=max(boost.plan.guard.most_v, boost.plan.demand.pulse_v),
        limit=boost.plan.rail_bank.capacitor.voltage_v,
        dimension="voltage",
        at="second stop or load dump",
    )


@rule(
    "BST-11",
    stage="boost",
    severity="note",
    title="The rush at connection",
    what="Peak current when the battery meets the empty rail through choke and diode, against half of what "
    "the "
    "rectifier stands once.",
    why="No soft start can stop it: the path from battery to rail is always there. The rush saturates the "
    "choke, welds contacts, ages fuses, and rings the rail above the battery.",
    limit="Half the surge rating of all legs together; common practice, no source.",
    source="common-practice",
    example="16 V on 8 µH and 8.5 mF: 345 A for a third of a millisecond; through 15 Ω it is 1.1 A for "
    "half a "
    "second.",
    remedy="Charge the rail through the pre-charge resistor each time before the fuse goes in; less "
    "capacitance "
    "(converter.reservoir) helps little.",
)
def inrush(design: Design) -> Iterator[Measure]:
    """Measure the current in A."""
    boost = design.boost
    if boost is None:
        return
    diode = boost.plan.diode
    yield Measure(
        quantity="rush at connection without the resistor",
        value=boost.precharge.plain_peak_a,
        limit=0.5 * diode.rectifier.ifsm_a * diode.legs,
        dimension="current",
    )


@rule(
    "BST-12",
    stage="boost",
    severity="note",
    title="What cuts the load off",
    what="Number of parts beside the fuse that can interrupt the way from battery to amplifier.",
    why="Choke and diode lead straight through. The converter's switch, its controller and every protection "
    "that stops them leave the amplifier on the battery: a short there is the fuse's alone.",
    limit="1, a switch or relay in the battery lead that breaks the fault current.",
    source="common-practice",
    example="0: after each trip the rail still shows 12 V, and a shorted output switch still draws.",
    remedy='Set converter.disconnect = "switch" and put a battery switch within reach that breaks the fault '
    "current, and pull the fuse before hands go in; where the load must be cut electrically take "
    'converter.topology = "push-pull".',
)
def disconnection(design: Design) -> Iterator[Measure]:
    """Count the parts."""
    if design.boost is None:
        return
    yield Measure(
        quantity="parts that cut the raised rail from the battery",
        value=float(design.boost.disconnect == "switch"),
        limit=1.0,
        dimension="ratio",
        counted=True,
        sense="at least",
    )


@rule(
    "BST-13",
    stage="boost",
    severity="note",
    title="Life of the raised rail's electrolytics",
    what="Hours with programme in the hottest air until the rail's capacitors wear out, by the ten-kelvin "
    "rule, "
    "with 5 K of own heat at the full ripple rating.",
    why="They carry the converter's hardest current; they are the part that ages.",
    limit="5000 hours; common practice, no source.",
    source="electrolytic-rule",
    example="5000 h at 105 °C become 80 000 h at 65 °C.",
    remedy="Keep them away from the heatsink (heat.air_rise), or choose long-life cans "
    "(converter.reservoir_capacitor).",
)
def life(design: Design) -> Iterator[Measure]:
    """Measure the life in s."""
    boost = design.boost
    if boost is None:
        return
    bank = boost.plan.rail_bank
    can = bank.capacitor
    if can.life_s is None:
        return
    ripple = design.point(Corner.LOW, Level.PROGRAMME).reservoir_ripple_a / bank.ripple_limit_a
    core_c = min(max(design.heat.air_c + _SELF_HEAT_K * ripple**2, 40.0), can.temp_c + 10.0)
    yield Measure(
        quantity="life of the raised rail's capacitors",
        value=electrolytic_life_s(can.life_s, can.temp_c, core_c),
        limit=_LIFE_S,
        dimension="time",
        sense="at least",
        at="programme, hottest air",
    )


@rule(
    "BST-14",
    stage="boost",
    severity="note",
    title="Efficiency of the boost converter",
    what="Power into the amplifier over power from the terminals, full sine, nominal battery.",
    why="What is lost here heats the sink beside the amplifier.",
    limit="88 %; common practice, no source.",
    source="common-practice",
    example="222 W of 233 W: 95 %.",
    remedy="See the losses by name: more switches (converter.mosfets_per_side), a lower "
    "converter.switching, or "
    "a rectifier of less drop (converter.rectifier).",
)
def efficiency(design: Design) -> Iterator[Measure]:
    """Measure the efficiency as a share."""
    if design.boost is None:
        return
    yield Measure(
        quantity="efficiency of the boost converter",
        value=design.boost.efficiency[Corner.NOMINAL],
        limit=_EFFICIENCY,
        dimension="share",
        sense="at least",
        at="full sine",
    )
