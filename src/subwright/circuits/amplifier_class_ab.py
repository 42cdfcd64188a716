"""The class-AB output stage: complementary emitter followers between the rails, lead and load.

Two steady voltages spread the bases so that each leg idles at its bias. The voltage stage before them is an
ideal amplifier with feedback from the output, so that the output follows the signal; what it draws is a
steady current from rail to rail. The transistors are exponentials: their saturation is not there.
"""

from __future__ import annotations

from math import log
from typing import Final

from subwright.circuits.amplifier_parts import POSITIVE, AmplifierParts
from subwright.circuits.amplifier_values import ClassABValues
from subwright.circuits.models import BipolarModel, OpAmpModel
from subwright.circuits.netlist import GROUND, Circuit, Part, Ramp, Steady, TestPoint

__all__ = ["class_ab_circuit"]

_THERMAL_V: Final = 1.380649e-23 * 300.15 / 1.602176634e-19  # kT/q at SPICE's own 27 °C
_SATURATION_A: Final = 1e-14  # of the bipolar model
_CURRENT_GAIN: Final = 1e6  # what the bases draw is the driver's
_LOOP_GAIN: Final = 1e4
_CHIP_HZ: Final = 5e9  # far above the note: nothing of the loop's own speed is asked


def class_ab_circuit(values: ClassABValues, *, load_ohm: float, signal: Ramp | Steady) -> Circuit:
    """Netlist of the output stage at a signal.

    Parameters
    ----------
    values : everything in it. load_ohm : resistor in place of the loudspeaker, Ω.
    signal : wanted between output and load's other end, V; a bridge's legs share it in opposition.

    Returns
    -------
    Circuit; its load hangs on ``out_a``, and ``out_b`` or ground.
    """
    v = values
    ids = {"output stage": v.device_id, "emitter resistor": v.ballast_id}
    build = AmplifierParts(ids, v.split_rails)
    build.supply(v.rail_v)
    drivers = Steady(value=v.driver_a)
    build.bench("DRIVERS", "current source", (POSITIVE, build.low), "drivers and input stages", drivers)
    middle = GROUND
    if not v.split_rails:
        middle = "middle"
        half = Steady(value=0.5 * v.rail_v)
        build.bench("MIDDLE", "voltage source", (middle, GROUND), "half of the supply", half)
    share = 1.0 / v.legs
    build.bench("SIGNAL", "voltage source", ("signal", GROUND), "signal", signal)
    build.bench("SIGNAL_RETURN", "resistor", ("signal", GROUND), "source's own load", 1e6)
    number = build.number
    chips = number.sections("U", v.legs * v.pairs, v.legs) if v.chip else ()
    for leg, name in enumerate("ab"[: v.legs]):
        wanted = f"wanted_{name}"
        ends = (wanted, middle) if leg == 0 else (middle, wanted)
        build.bench(
            f"SHARE_{name.upper()}", "voltage by voltage", (*ends, "signal", GROUND), "a leg's share", share
        )
        own = chips[leg :: v.legs]
        _leg(build, v, name, wanted, own)
    build.load(("out_a", "out_b" if v.legs == 2 else GROUND), v.lead_ohm, load_ohm)
    models = [
        BipolarModel(name="UPPER", polarity="npn", current_gain=_CURRENT_GAIN),
        BipolarModel(name="LOWER", polarity="pnp", current_gain=_CURRENT_GAIN),
    ]
    stage = (OpAmpModel(name="STAGE", gbw_hz=_CHIP_HZ, dc_gain=_LOOP_GAIN),) if v.chip else ()
    return Circuit(
        name="class-AB output stage",
        parts=tuple(build.parts),
        models=(*models, *stage),
        test_points=tuple(
            TestPoint(designator=f"TP{500 + k}", net=f"out_{name}", what=f"output of leg {name.upper()}")
            for k, name in enumerate("ab"[: v.legs], 1)
        ),
    )


def _leg(build: AmplifierParts, v: ClassABValues, name: str, wanted: str, chips: tuple[str, ...]) -> None:
    """One leg's pairs in parallel, each behind its own chip's voltage stage, or all behind one."""
    out, drive = f"out_{name}", f"drive_{name}"
    if not v.chip:
        nets = (drive, GROUND, wanted, out)
        build.bench(f"STAGE_{name.upper()}", "voltage by voltage", nets, "voltage stage", _LOOP_GAIN)
        _spread(build, v, name, drive)
    for k in range(v.pairs):
        tag = name
        if v.chip:
            tag, drive = f"{name}{k}", f"drive_{name}{k}"
            build.parts.append(
                Part(
                    designator=chips[k],
                    kind="op-amp",
                    nets=(wanted, out, drive, POSITIVE, build.low),
                    model="STAGE",
                    role="output stage",
                    part_id=v.device_id,
                )
            )
            _spread(build, v, tag, drive)
        for side, rail, model in (("upper", POSITIVE, "UPPER"), ("lower", build.low, "LOWER")):
            emitter = f"emitter_{side}_{name}{k}" if v.ballast_ohm > 0.0 else out
            pins = (rail, f"base_{side}_{tag}", emitter)
            if v.chip:
                build.parts.append(
                    Part(
                        designator=f"{chips[k]}_{model}",
                        kind="transistor",
                        nets=pins,
                        model=model,
                        role="output stage",
                        standing="inherent",
                    )
                )
            else:
                build.bought("Q", "transistor", pins, "output stage", model=model)
            if v.ballast_ohm > 0.0:
                build.bought("R", "resistor", (emitter, out), "emitter resistor", v.ballast_ohm)


def _spread(build: AmplifierParts, v: ClassABValues, tag: str, drive: str) -> None:
    """Base voltages at which each transistor idles at its share of the bias."""
    each_a = v.bias_a / v.pairs
    half = Steady(value=_THERMAL_V * log(each_a / _SATURATION_A + 1.0) + each_a * v.ballast_ohm)
    for side, ends in (("upper", ("base_upper", "")), ("lower", ("", "base_lower"))):
        nets = tuple(f"{end}_{tag}" if end else drive for end in ends)
        build.bench(f"SPREAD_{side}_{tag}".upper(), "voltage source", nets, "bias", half)
