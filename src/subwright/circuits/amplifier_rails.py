"""Output stages whose rails change: the lifted battery of class H, and the two rail pairs of class G."""

from __future__ import annotations

from typing import Final

from subwright.circuits.amplifier_class_ab import LOOP_GAIN, Feed, add_leg, output_models
from subwright.circuits.amplifier_parts import NEGATIVE, POSITIVE, AmplifierParts
from subwright.circuits.amplifier_values import ClassABValues
from subwright.circuits.models import (
    BipolarModel,
    ComparatorModel,
    DiodeModel,
    JunctionModel,
    Model,
    OpAmpModel,
    ShuntReferenceModel,
    SquareLawModel,
    SwitchModel,
    ZenerModel,
)
from subwright.circuits.netlist import GROUND, Circuit, Part, Ramp, Steady, TestPoint
from subwright.parts.library import Library
from subwright.stages.amplifier_rail_records import RailSwitching
from subwright.stages.amplifier_rails import FOLLOWER_A_PER_V2

__all__ = ["class_g_circuit", "class_h_circuit"]

_OFF_OHM: Final = 1e7
_STAGE_HZ: Final = 10e6  # a leg's rail jumps, and a loop without a bandwidth has no answer at that instant
_BUFFER_GAIN: Final = 160.0  # least of the small transistors, data sheet
_DIODE_A: Final = 1e-3
_JUNCTION_F: Final = 1e-9  # of a Schottky diode of tens of amperes, from memory
_GATE_TEST_V: Final = 10.0  # gate voltage at which data sheets state Q_g


def _commutation(library: Library, rails: RailSwitching) -> DiodeModel:
    part = library.rectifiers[rails.diode_id]
    return DiodeModel(
        name="COMMUTATION",
        forward_v=part.vf0_v,
        resistance_ohm=part.rd_ohm / part.legs,
        rated_a=part.if_a,
        junction_f=_JUNCTION_F,
    )


def class_g_circuit(
    values: ClassABValues,
    rails: RailSwitching,
    library: Library,
    *,
    load_ohm: float,
    signal: Ramp | Steady,
) -> Circuit:
    """Netlist of class G at a signal.

    Parameters
    ----------
    values : of the output. rails : what changes them. library : with the drawer merged.
    load_ohm : resistor in place of the loudspeaker, Ω. signal : wanted at the output, V.

    Returns
    -------
    Circuit; its load hangs on ``out_a``. The inner rails are the bench's too: their rectifiers belong to the
    transformer's tap.
    """
    v = values
    build = AmplifierParts(v.ids, v.split_rails)
    build.supply(v.rail_v)
    inner_v = rails.inner_ratio * v.rail_v
    stiff = Steady(value=inner_v)
    for name, ends in (("POSITIVE", ("inner_positive", GROUND)), ("NEGATIVE", (GROUND, "inner_negative"))):
        build.bench(f"INNER_{name}", "voltage source", ends, "inner rail", stiff)
    rest = v.driver_a - v.drawn_a - _feed_a(v, rails)
    build.bench("DRIVERS", "current source", (POSITIVE, NEGATIVE), "input stages", Steady(value=rest))
    build.bench("SIGNAL", "voltage source", ("wanted_a", GROUND), "signal", signal)
    feed = Feed(upper="feed_positive", lower="feed_negative", positive=POSITIVE, negative=NEGATIVE)
    for word, outer in (("positive", POSITIVE), ("negative", NEGATIVE)):
        _follower(build, v, rails, word, outer)
    _inner_rectifiers(build, rails, library.capacitors[rails.reservoir_id].capacitance_f, inner_v)
    add_leg(build, v, "a", "wanted_a", feed)
    build.load(("out_a", GROUND), v.lead_ohm, load_ohm)
    upper, lower = library.mosfets[rails.upper_id], library.mosfets[rails.lower_id]
    zener = library.zener(rails.zener_id)
    rectifier = library.rectifiers[rails.rectifier_id]
    models: list[Model] = [
        *output_models(v),
        _commutation(library, rails),
        SquareLawModel(
            name="FOLLOWER_N",
            channel="n",
            threshold_v=upper.vgs_th_v,
            factor_a_per_v2=FOLLOWER_A_PER_V2,
            clamp_v=upper.vds_v,
        ),
        SquareLawModel(
            name="FOLLOWER_P",
            channel="p",
            threshold_v=lower.vgs_th_v,
            factor_a_per_v2=FOLLOWER_A_PER_V2,
            clamp_v=lower.vds_v,
        ),
        ZenerModel(name="DISTANCE", zener_v=zener.vz_v, slope_ohm=zener.rz_ohm, rated_a=zener.iz_test_a),
        DiodeModel(
            name="INNER",
            forward_v=rectifier.vf0_v,
            resistance_ohm=rectifier.rd_ohm / rectifier.legs,
            rated_a=rectifier.if_a,
        ),
    ]
    return Circuit(
        name="class-G output stage",
        parts=tuple(build.parts),
        models=tuple(models),
        test_points=_points(
            ("out_a", "output"),
            ("base_upper_a", "upper end of the bias"),
            ("base_lower_a", "lower end of the bias"),
            ("feed_positive", "collectors of the upper devices"),
            ("feed_negative", "collectors of the lower devices"),
            ("inner_positive", "positive inner rail"),
            ("inner_negative", "negative inner rail"),
        ),
    )


def _points(*nets: tuple[str, str]) -> tuple[TestPoint, ...]:
    return tuple(
        TestPoint(designator=f"TP{500 + k}", net=net, what=what) for k, (net, what) in enumerate(nets, 1)
    )


def _feed_a(v: ClassABValues, rails: RailSwitching) -> float:
    """Current of a follower's feeding resistors at rest, A."""
    feeds = rails.resistors_ohm["follower feed"] + rails.resistors_ohm["follower gate feed"]
    return (v.rail_v - rails.zener_v) / feeds


def _follower(build: AmplifierParts, v: ClassABValues, rails: RailSwitching, word: str, outer: str) -> None:
    """Commutation diode, MOSFET on the outer rail, and its gate held at a distance from the output."""
    positive = word == "positive"
    node, gate, boot, inner = f"feed_{word}", f"follow_{word}", f"boot_{word}", f"inner_{word}"
    ends = (inner, node) if positive else (node, inner)
    build.bought("D", "diode", ends, "commutation diode", model="COMMUTATION")
    model = "FOLLOWER_N" if positive else "FOLLOWER_P"
    build.bought("Q", "mosfet", (outer, gate, node), f"{word} follower", model=model)
    ends = ("out_a", gate) if positive else (gate, "out_a")
    build.bought("VR", "zener", ends, "follower zener", model="DISTANCE")
    ohms, sign = rails.resistors_ohm, 1.0 if positive else -1.0
    build.bought("R", "resistor", (outer, boot), "follower feed", ohms["follower feed"])
    build.bought("R", "resistor", (boot, gate), "follower gate feed", ohms["follower gate feed"])
    ends = (boot, "out_a") if positive else ("out_a", boot)
    rest_v = sign * (v.rail_v - _feed_a(v, rails) * ohms["follower feed"])
    build.bought(
        "C", "capacitor", ends, "follower bootstrap", rails.capacitors_f["follower bootstrap"],
        initial_v=abs(rest_v),
    )  # fmt: skip


def _inner_rectifiers(build: AmplifierParts, rails: RailSwitching, can_f: float, inner_v: float) -> None:
    """Four rectifiers from the taps of both half-secondaries, and a reservoir on each inner rail."""
    for tap in ("a", "b"):
        build.bench(f"TAP_{tap.upper()}", "resistor", (f"tap_{tap}", GROUND), "tap of the secondary", 1e6)
        build.bought("D", "diode", (f"tap_{tap}", "inner_positive"), "inner rectifier", model="INNER")
        build.bought("D", "diode", ("inner_negative", f"tap_{tap}"), "inner rectifier", model="INNER")
    for high, low in (("inner_positive", GROUND), (GROUND, "inner_negative")):
        for _ in range(rails.reservoir_count):
            build.bought("C", "capacitor", (high, low), "inner reservoir", can_f, initial_v=inner_v)


def class_h_circuit(
    values: ClassABValues,
    rails: RailSwitching,
    library: Library,
    *,
    lift_f: float,
    cans: int,
    load_ohm: float,
    signals: tuple[Ramp | Steady, Ramp | Steady],
) -> Circuit:
    """Netlist of class H at a signal.

    Parameters
    ----------
    values : of the output. rails : what lifts them. library : with the drawer merged.
    lift_f, cans : of each leg's bank, F, and its cans. load_ohm : in place of the loudspeaker, Ω.
    signals : wanted at each leg's output against ground, V.

    Returns
    -------
    Circuit; its load hangs between ``out_a`` and ``out_b``.
    """
    v = values
    build = AmplifierParts(v.ids, v.split_rails)
    build.supply(v.rail_v)
    rest = v.driver_a - v.legs * v.drawn_a
    build.bench("DRIVERS", "current source", (POSITIVE, GROUND), "input stages", Steady(value=rest))
    reference = library.reference(rails.reference_id)
    ohms = rails.resistors_ohm
    feed_ohm = ohms["threshold reference feed"]
    build.bought("R", "resistor", (POSITIVE, "reference"), "threshold reference feed", feed_ohm)
    build.bought(
        "U", "shunt reference", ("reference", "reference", GROUND), "threshold shunt reference",
        model="REFERENCE",
    )  # fmt: skip
    build.bought("C", "capacitor", (POSITIVE, GROUND), "comparator decoupling", 100e-9)
    comparator = library.comparator(rails.comparator_id)
    sections = build.number.sections("U", 2, comparator.channels)
    upper, lower = library.mosfets[rails.upper_id], library.mosfets[rails.lower_id]
    gates_f = (upper.qg_coul / _GATE_TEST_V, lower.qg_coul / _GATE_TEST_V)
    for leg, name in enumerate("ab"):
        ends = (f"wanted_{name}", GROUND)
        build.bench(f"SIGNAL_{name.upper()}", "voltage source", ends, "signal", signals[leg])
        _lift(build, v, rails, name, sections[leg], lift_f / cans, cans, gates_f)
        feed = Feed(upper=f"feed_{name}", lower=GROUND, positive=f"feed_{name}", negative=GROUND)
        add_leg(build, v, name, f"wanted_{name}", feed, slow="STAGE")
    build.load(("out_a", "out_b"), v.lead_ohm, load_ohm)
    models: list[Model] = [
        *output_models(v),
        _commutation(library, rails),
        SwitchModel(
            name="LIFT",
            channel="p",
            on_ohm=upper.rds_on_ohm * upper.rds_hot_ratio,
            off_ohm=_OFF_OHM,
            threshold_v=upper.vgs_th_v,
            clamp_v=upper.vds_v,
        ),
        SwitchModel(
            name="CHARGE",
            on_ohm=lower.rds_on_ohm * lower.rds_hot_ratio,
            off_ohm=_OFF_OHM,
            threshold_v=lower.vgs_th_v,
            clamp_v=lower.vds_v,
        ),
        ComparatorModel(
            name="WATCH",
            offset_v=0.0,
            bias_a=comparator.ib_a,
            saturation_ohm=comparator.vol_v / comparator.sink_a,
            response_s=comparator.response_s,
            supply_a=0.4e-3,
        ),
        OpAmpModel(name="STAGE", gbw_hz=_STAGE_HZ, dc_gain=LOOP_GAIN),
        ShuntReferenceModel(name="REFERENCE", reference_v=reference.vref_v, pin_a=reference.iref_a),
        BipolarModel(name="BUFFER_NPN", polarity="npn", current_gain=_BUFFER_GAIN),
        BipolarModel(name="BUFFER_PNP", polarity="pnp", current_gain=_BUFFER_GAIN),
        JunctionModel(name="SPEED_UP", forward_v=0.6, rated_a=_DIODE_A),
    ]
    return Circuit(
        name="class-H output stage",
        parts=tuple(build.parts),
        models=tuple(models),
        test_points=_points(
            *((f"{word}_{name}", f"{what}, leg {name.upper()}") for word, what in _H_POINTS for name in "ab")
        ),
    )


_H_POINTS: Final = (
    ("out", "output"),
    ("feed", "rail of the leg"),
    ("lift", "lower end of the lifting capacitors"),
    ("gate", "gate line: low lifts"),
)


def _lift(
    build: AmplifierParts,
    v: ClassABValues,
    rails: RailSwitching,
    name: str,
    section: str,
    can_f: float,
    cans: int,
    gates_f: tuple[float, float],
) -> None:
    """One leg's diode, capacitors, switches, and the comparator that moves them."""
    feed, lift, gate, out = f"feed_{name}", f"lift_{name}", f"gate_{name}", f"out_{name}"
    minus, plus, line = f"sense_{name}", f"trip_{name}", f"line_{name}"
    ohms = rails.resistors_ohm
    build.bought("D", "diode", (POSITIVE, feed), "commutation diode", model="COMMUTATION")
    for _ in range(cans):
        build.bought(
            "C", "capacitor", (feed, lift), "lifting capacitor", can_f, initial_v=v.rail_v - rails.diode_v
        )
    high, low = f"gate_high_{name}", f"gate_low_{name}"
    # the switches' own gate charge: it is what keeps both from conducting at once
    for word, ends, farads in (("LIFT", (POSITIVE, high), gates_f[0]), ("CHARGE", (low, GROUND), gates_f[1])):
        build.bench(f"GATE_{word}_{name.upper()}", "capacitor", ends, "gate charge", farads)
    build.bought("Q", "mosfet", (lift, high, POSITIVE), "lifting switch", model="LIFT")
    build.bought("Q", "mosfet", (lift, low, GROUND), "charging switch", model="CHARGE")
    # each gate turns off through its diode and on through its resistor: never both switches at once
    build.bought("R", "resistor", (gate, high), "lifting gate", ohms["lifting gate"])
    build.bought("D", "diode", (gate, high), "gate speed-up diode", model="SPEED_UP")
    build.bought("R", "resistor", (gate, low), "charging gate", ohms["charging gate"])
    build.bought("D", "diode", (low, gate), "gate speed-up diode", model="SPEED_UP")
    build.bought("Q", "transistor", (POSITIVE, line, gate), "gate buffer NPN", model="BUFFER_NPN")
    build.bought("Q", "transistor", (GROUND, line, gate), "gate buffer PNP", model="BUFFER_PNP")
    build.bought("R", "resistor", (POSITIVE, line), "threshold pull-up", ohms["threshold pull-up"])
    for role, ends in (
        ("threshold output", (out, minus)),
        ("threshold output to ground", (minus, GROUND)),
        ("threshold reference", ("reference", minus)),
        ("threshold battery", (POSITIVE, plus)),
        ("threshold battery to ground", (plus, GROUND)),
        ("threshold hysteresis", (line, plus)),
    ):
        build.bought("R", "resistor", ends, role, ohms[role])
    build.parts.append(
        Part(
            designator=section,
            kind="comparator",
            nets=(plus, minus, line, POSITIVE, GROUND),
            model="WATCH",
            role="lifting comparator",
            part_id=rails.comparator_id,
        )
    )
