"""A driver in its box as an electrical analogue: volts for force and pressure, amperes for speed and flow.

Three loops, joined by transducers made of controlled sources: electrical (source, coil), mechanical (moving
mass, suspension), acoustical (radiation, box air, leak, port). Impedances keep their SI numbers: 1 kg is 1 H,
1 m/N is 1 F, 1 kg/s is 1 Ω; acoustically 1 kg/m⁴, 1 m³/Pa and 1 Pa·s/m³ likewise.

Two elements are no plain part:

* the radiation resistance grows with the square of frequency; differentiating the flow twice gives exactly
  that;
* the coil's K·(jω)ⁿ becomes a ladder of R-L sections whose corners lie evenly on a logarithmic axis: the
  trapezoidal rule on ``s^n = sin(nπ)/π ∫ s x^(n-1)/(s + x) dx``, its two tails summed into a resistor and an
  inductor. Between 1 Hz and 10 kHz it is within 0.1 %. With n = 1 it is one inductor.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from subwright.base.errors import SubwrightError
from subwright.circuits.analysis import Current, Voltage
from subwright.circuits.netlist import GROUND, Circuit, Numbering, Part, PartKind, Steady, TestPoint, Value
from subwright.physics.acoustics.air import AIR_20C, Air
from subwright.physics.acoustics.boxes import BoxModel, SealedBox, VentedBox, box_compliance_m3_per_pa
from subwright.physics.acoustics.parameters import DriverModel
from subwright.physics.acoustics.resonant_boxes import BandPassBox, PassiveRadiatorBox

__all__ = ["FLOW_PROBE", "PRESSURE_PROBE", "SOURCE_PROBE", "TERMINAL_PROBE", "enclosure_circuit"]

_HUNDRED: Final = 400
_LADDER_LOW: Final = 2.0 * math.pi * 1e-3  # corners, rad/s
_LADDER_HIGH: Final = 2.0 * math.pi * 1e7
_LADDER_STEP: Final = 1.0  # natural logarithm; the rule's error is exp(-π²/step)
_TIGHT_OHM: Final = 1e15  # a box without a leak

SOURCE_PROBE: Final = Current("BENCH_SOURCE")
"""Its negative is the current into the coil, A."""
TERMINAL_PROBE: Final = Voltage("terminal")
"""Voltage at the driver, V."""
PRESSURE_PROBE: Final = Voltage("pressure")
"""Sound pressure at the distance, half space, delay removed, Pa."""
FLOW_PROBE: Final = Voltage("flow_monitor")
"""Volume velocity of the diaphragm, m³/s."""


class _Builder:
    def __init__(self) -> None:
        self.parts: list[Part] = []
        self._number = Numbering(_HUNDRED)
        self._nets = 0

    def net(self) -> str:
        self._nets += 1
        return f"n{self._nets}"

    def add(
        self, letters: str, kind: PartKind, nets: tuple[str, ...], value: Value, role: str, senses: str = ""
    ) -> str:
        name = self._number.next(letters)
        self.parts.append(
            Part(
                designator=name,
                kind=kind,
                nets=nets,
                value=value,
                role=role,
                standing="analogue",
                senses=senses,
            )
        )
        return name

    def resistor(self, a: str, b: str, value: float, role: str) -> None:
        self.add("R", "resistor", (a, b), value, role)

    def inductor(self, a: str, b: str, value: float, role: str) -> None:
        self.add("L", "inductor", (a, b), value, role)

    def capacitor(self, a: str, b: str, value: float, role: str) -> None:
        self.add("C", "capacitor", (a, b), value, role)

    def meter(self, a: str, b: str, role: str) -> str:
        """A source of 0 V whose current others can follow."""
        return self.add("M", "voltage source", (a, b), Steady(value=0.0), role)

    def transducer(self, a: str, b: str, factor: float, senses: str, role: str) -> None:
        """Voltage from ``a`` to ``b`` of ``factor`` times the sensed current."""
        self.add("H", "voltage by current", (a, b), factor, role, senses)


def enclosure_circuit(
    driver: DriverModel,
    box: BoxModel,
    *,
    source_ohm: float = 0.0,
    distance_m: float = 1.0,
    air: Air = AIR_20C,
) -> Circuit:
    """Analogue of a driver on its box behind a source resistance, driven by 1 V.

    Parameters
    ----------
    driver : lumped elements. box : of any kind that has a class.
    source_ohm : between ideal source and driver, Ω.
    distance_m : of the pressure, m. air : state of the air.

    Returns
    -------
    Circuit for an AC analysis; see the probes.

    Raises
    ------
    SubwrightError : the box is of another kind.
    """
    build = _Builder()
    build.parts.append(
        Part(
            designator="BENCH_SOURCE",
            kind="voltage source",
            nets=("source", GROUND),
            value=Steady(value=0.0, ac=1.0),
            role="amplifier",
            standing="bench",
        )
    )
    if source_ohm > 0.0:
        build.resistor("source", "terminal", source_ohm, "source resistance")
    else:
        build.meter("source", "terminal", "no source resistance")
    current = _coil(build, driver)
    velocity = _mechanics(build, driver, current)
    flow = _acoustics(build, driver, box, velocity, air)
    # Pressure of a small source in half space: the outside flow, differentiated, times ρ/(2π r).
    outward = air.density_kg_per_m3 / (2.0 * math.pi * distance_m)
    build.add("F", "current by current", (GROUND, "pressure"), 1.0, "outside flow", flow)
    build.inductor("pressure", GROUND, outward, "pressure at the distance")
    return Circuit(
        name="driver in its box",
        parts=tuple(build.parts),
        test_points=(TestPoint(designator="TP401", net="terminal", what="driver terminals"),),
    )


def _coil(build: _Builder, driver: DriverModel) -> str:
    """Electrical loop, open at its end; returns the meter of its current."""
    build.resistor("terminal", "coil_1", driver.re_ohm, "coil resistance")
    at = "coil_1"
    if driver.coil_factor > 0.0:
        at = _lossy_inductor(build, at, driver.coil_factor, driver.coil_exponent)
    return build.meter(at, "back", "coil current")


def _lossy_inductor(build: _Builder, at: str, factor: float, exponent: float) -> str:
    """Chain of sections for K·(jω)ⁿ from a net onward; returns its far net."""
    role = "coil inductance"
    if exponent == 1.0:
        far = build.net()
        build.inductor(at, far, factor, role)
        return far
    if exponent == 0.0:
        far = build.net()
        build.resistor(at, far, factor, role)
        return far
    scale = factor * math.sin(exponent * math.pi) / math.pi
    count = round(math.log(_LADDER_HIGH / _LADDER_LOW) / _LADDER_STEP)
    corners = np.geomspace(_LADDER_LOW, _LADDER_HIGH, count + 1)
    step = math.log(corners[1] / corners[0])
    for corner in corners.tolist():
        far = build.net()
        ohm = scale * step * corner**exponent
        build.resistor(at, far, ohm, role)
        build.inductor(at, far, ohm / corner, role)
        at = far
    # What lies outside the corners, half a step further: below them resistive, above them inductive.
    lowest, highest = _LADDER_LOW * math.exp(-0.5 * step), _LADDER_HIGH * math.exp(0.5 * step)
    middle, far = build.net(), build.net()
    build.resistor(at, middle, scale * lowest**exponent / exponent, f"{role}, lower tail")
    above = scale * highest ** (exponent - 1.0) / (1.0 - exponent)
    build.inductor(middle, far, above, f"{role}, upper tail")
    return far


def _mechanics(build: _Builder, driver: DriverModel, current: str) -> str:
    """Mechanical loop: force of the coil against mass, loss, suspension and the box's pressure."""
    build.transducer("force", GROUND, driver.bl_tm, current, "force")
    build.inductor("force", "m_1", driver.mms_kg, "moving mass")
    build.resistor("m_1", "m_2", driver.rms_kg_per_s, "mechanical loss")
    build.capacitor("m_2", "m_3", driver.cms_m_per_n, "suspension")
    velocity = build.meter("m_3", "load", "velocity")
    build.transducer("back", GROUND, driver.bl_tm, velocity, "back electromotive force")
    return velocity


def _acoustics(build: _Builder, driver: DriverModel, box: BoxModel, velocity: str, air: Air) -> str:
    """Acoustical loop; returns the meter of the flow that reaches the outside."""
    area = driver.sd_m2
    build.add("F", "current by current", (GROUND, "inside"), area, "diaphragm flow", velocity)
    build.add(
        "E", "voltage by voltage", ("load", GROUND, "inside", GROUND), area, "force of the box's pressure"
    )
    build.add("F", "current by current", (GROUND, "flow_monitor"), area, "flow monitor", velocity)
    build.resistor("flow_monitor", GROUND, 1.0, "flow monitor")
    if isinstance(box, BandPassBox):
        return _band_pass(build, box, air)
    if isinstance(box, (SealedBox, VentedBox, PassiveRadiatorBox)):
        return _with_opening(build, box, air)
    raise SubwrightError(
        message="There is no circuit for this kind of box.",
        quantity="box",
        value=type(box).__name__,
        limit="sealed, vented, passive radiator or band-pass",
    )


def _with_opening(build: _Builder, box: SealedBox | VentedBox | PassiveRadiatorBox, air: Air) -> str:
    """The diaphragm's flow divides: box air and radiation carry one part, leak and opening the rest.

    What leaves the box outside equals what box air and radiation carry.
    """
    compliance = float(box_compliance_m3_per_pa(box.volume_m3, gain=box.gain, air=air))
    omega = 2.0 * math.pi * float(box.tuning_hz if isinstance(box, VentedBox) else box.q_frequency_hz)
    outside = build.meter("inside", "a_1", "outside flow")
    absorption = 0.0 if math.isinf(box.qa) else 1.0 / (omega * compliance * box.qa)
    at = _air(build, "a_1", compliance, absorption, "box air")
    _outward(build, at, outside, box.space, box.radiates, air)
    leak = _TIGHT_OHM if math.isinf(box.ql) else box.ql / (omega * compliance)
    build.resistor("inside", GROUND, leak, "leak")
    if isinstance(box, VentedBox):
        _port(build, "inside", GROUND, omega, compliance, box.qp)
    if isinstance(box, PassiveRadiatorBox):
        unit, near, far = box.radiator, build.net(), build.net()
        build.inductor("inside", near, unit.mass_kg_per_m4, "radiator mass")
        build.capacitor(near, far, unit.compliance_m3_per_pa, "radiator suspension")
        build.resistor(near, far, _TIGHT_OHM, "path for direct current")
        build.resistor(far, GROUND, unit.resistance_pa_s_per_m3, "radiator loss")
    return outside


def _band_pass(build: _Builder, box: BandPassBox, air: Air) -> str:
    """Rear air carries the diaphragm's whole flow; in front it divides between air and port."""
    rear = float(box_compliance_m3_per_pa(box.rear_m3, gain=box.rear_gain, air=air))
    front = float(box_compliance_m3_per_pa(box.front_m3, air=air))
    omega_rear = 2.0 * math.pi * float(box.rear_hz)
    absorption = 0.0 if math.isinf(box.rear_qa) else 1.0 / (omega_rear * rear * box.rear_qa)
    chamber = _air(build, "inside", rear, absorption, "rear air")
    build.capacitor(chamber, GROUND, front, "front air")
    build.resistor(chamber, GROUND, _TIGHT_OHM, "path for direct current")
    omega = 2.0 * math.pi * float(box.tuning_hz)
    opening = build.net()
    _port(build, chamber, opening, omega, front, box.qp)
    leak = _TIGHT_OHM if math.isinf(box.ql) else box.ql / (omega * front)
    build.resistor(chamber, opening, leak, "leak")
    beyond = build.net()
    outside = build.meter(opening, beyond, "outside flow")
    _outward(build, beyond, outside, box.space, box.radiates, air)
    return outside


def _air(build: _Builder, at: str, compliance: float, absorption: float, role: str) -> str:
    """A chamber's air with its absorption in series; returns the far net."""
    far = build.net()
    build.capacitor(at, far, compliance, role)
    build.resistor(at, far, _TIGHT_OHM, "path for direct current")
    if absorption == 0.0:
        return far
    after = build.net()
    build.resistor(far, after, absorption, "absorption")
    return after


def _port(build: _Builder, at: str, far: str, omega: float, compliance: float, qp: float) -> None:
    """Port air that tunes a chamber's air to ``omega``, with its loss."""
    if not math.isinf(qp):
        after = build.net()
        build.resistor(at, after, 1.0 / (omega * compliance * qp), "port loss")
        at = after
    build.inductor(at, far, 1.0 / (omega**2 * compliance), "port air")


def _outward(build: _Builder, at: str, outside: str, space: str, radiates: bool, air: Air) -> None:
    """The air outside, from a net to ground."""
    if radiates:
        _radiation(build, at, outside, air, 2.0 * math.pi if space == "half" else 4.0 * math.pi)
    else:
        build.meter(at, GROUND, "no radiation")


def _radiation(build: _Builder, at: str, outside: str, air: Air, solid_angle: float) -> None:
    """Series element -k·s² between a net and ground: the flow differentiated twice, and turned round."""
    k = air.density_kg_per_m3 / (solid_angle * air.speed_m_per_s)
    build.add("F", "current by current", (GROUND, "once"), 1.0, "flow", outside)
    build.inductor("once", GROUND, 1.0, "first derivative")
    build.add(
        "G", "current by voltage", (GROUND, "twice", "once", GROUND), 1.0, "first derivative as a current"
    )
    build.inductor("twice", GROUND, 1.0, "second derivative")
    build.add("E", "voltage by voltage", (at, GROUND, "twice", GROUND), -k, "radiation resistance")
