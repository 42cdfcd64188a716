"""The loudspeaker's protection: detector of direct voltage, driver, and the relay or MOSFETs in the lead."""

from __future__ import annotations

from typing import Final

from subwright.base.errors import SubwrightError
from subwright.circuits.builder import Builder
from subwright.circuits.models import (
    BipolarModel,
    JunctionModel,
    PhotovoltaicModel,
    RelayModel,
    SwitchModel,
    ZenerModel,
)
from subwright.circuits.netlist import GROUND, Circuit, Ramp, Steady, TestPoint, Value
from subwright.parts.library import Library
from subwright.physics.junctions import saturation_current_a
from subwright.stages.speaker_guard_detector import NPN_GAIN, PNP_GAIN
from subwright.stages.speaker_guard_records import (
    DcDetector,
    SpeakerGuardResult,
    SpeakerRelay,
    SpeakerSwitch,
    SwitchDrive,
)

__all__ = ["GATE_LIGHT", "speaker_guard_circuit"]

_HUNDRED: Final = 700
_NPN: Final = BipolarModel(
    name="NPN", polarity="npn", current_gain=NPN_GAIN, saturation_a=saturation_current_a()
)
_PNP: Final = BipolarModel(
    name="PNP", polarity="pnp", current_gain=PNP_GAIN, saturation_a=saturation_current_a()
)
GATE_LIGHT: Final = PhotovoltaicModel(
    name="LIGHT", forward_v=1.35, rated_a=10e-3, gain=2e-3, open_v=7.0, dark_ohm=500.0, dark_a=0.2e-3
)
"""A photovoltaic driver of the usual kind: 7 V open, some 20 µA from 10 mA of light; from memory."""
_THRESHOLD_V: Final = 3.0
_OFF_OHM: Final = 1e8


def speaker_guard_circuit(
    result: SpeakerGuardResult,
    library: Library,
    *,
    control: Value,
    output: Steady | Ramp,
    load_ohm: float,
    outputs_v: float = 0.0,
    timer_open: bool = True,
) -> Circuit:
    """Netlist of the loudspeaker's protection.

    Parameters
    ----------
    result : the design. library : parts with the drawer merged.
    control : control supply, V. output : what the amplifier puts across its terminals, V.
    load_ohm : resistor in place of the loudspeaker, Ω.
    outputs_v : supply of a bridge's outputs, between whose ends they rest, V; 0 about ground.
    timer_open : whether the timer lets the driver go; otherwise its comparator holds the base down.

    Returns
    -------
    Circuit.

    Raises
    ------
    SubwrightError : nothing is fitted.
    """
    detector, drive = result.detector, result.drive
    if detector is None or drive is None:
        raise SubwrightError(message="No loudspeaker protection is fitted.")
    build = Builder(_HUNDRED, {part.role: part.part_id for part in result.parts})
    build.bench("CONTROL", "voltage source", ("control", GROUND), control, "control supply")
    back, source = GROUND, "control"
    if detector.floating:
        back = "speaker_return"
        middle = Steady(value=0.5 * outputs_v)
        build.bench("MIDDLE", "voltage source", ("bridge", GROUND), middle, "where both outputs rest")
        build.bench("SWING", "voltage source", ("swing", GROUND), output, "amplifier")
        for name, ends in (("A", ("speaker_amp", "bridge")), ("B", ("bridge", back))):
            nets = (*ends, "swing", GROUND)
            build.bench(f"LEG_{name}", "voltage by voltage", nets, 0.5, f"output {name}")
        if outputs_v > 0.0:
            source = "outputs"
            volts = Steady(value=outputs_v)
            build.bench("OUTPUTS", "voltage source", (source, GROUND), volts, "supply of the outputs")
    else:
        build.bench("AMPLIFIER", "voltage source", ("speaker_amp", GROUND), output, "amplifier")
    build.bench("LOAD", "resistor", ("speaker_out", back), load_ohm, "loudspeaker")
    if not timer_open:
        build.bench("TIMER", "resistor", ("speaker_on", GROUND), 60.0, "timer's comparator, holding")
    _detector(build, detector, back, source)
    _driver(build, drive, library)
    if result.relay is not None:
        _relay(build, result.relay, drive, library, back)
    elif result.switch is not None:
        _switch(build, result.switch, drive, library)
    points = (
        ("dc_sense", "detector behind its low-pass"),
        ("speaker_on", "driver's base: 0.7 V lets the loudspeaker in"),
        ("driver_out", "driver's collector"),
        ("speaker_out", "the loudspeaker's lead behind the switch"),
    )
    return Circuit(
        name="loudspeaker protection",
        parts=tuple(build.parts),
        models=tuple(build.models),
        test_points=tuple(
            TestPoint(designator=f"TP{_HUNDRED + k}", net=net, what=what)
            for k, (net, what) in enumerate(points, 1)
        ),
        open_nets=("relay_rest",),
    )


def _detector(build: Builder, detector: DcDetector, back: str, source: str) -> None:
    role = "detector low-pass resistor"
    each = detector.resistor_ohm / detector.resistors
    build.resistor(role, "speaker_amp", "dc_sense", each)
    low = GROUND
    if detector.floating:
        low = "dc_return"
        build.resistor(role, back, low, each)
    build.capacitor("detector low-pass capacitor", "dc_sense", low, detector.capacitor_f)
    # Between two outputs the positive one can't reach the driver's base: it works through the PNP as well.
    first = "pnp_base" if detector.floating else "speaker_on"
    build.bought("Q", "transistor", (first, "dc_sense", low), "detector transistor, positive", model=_NPN)
    build.bought(
        "Q", "transistor", ("pnp_base", low, "dc_sense"), "detector transistor, negative", model=_NPN
    )
    build.resistor("detector PNP base to emitter", source, "pnp_base", detector.pull_ohm)
    build.bought("Q", "transistor", ("pnp_out", "pnp_base", source), "detector PNP", model=_PNP)
    build.resistor("detector coupling resistor", "pnp_out", "third_base", detector.couple_ohm)
    build.resistor("detector pull-down", "third_base", GROUND, detector.down_ohm)
    pins = ("speaker_on", "third_base", GROUND)
    build.bought("Q", "transistor", pins, "detector output transistor", model=_NPN)


def _driver(build: Builder, drive: SwitchDrive, library: Library) -> None:
    record = library.transistor(drive.transistor)
    # its junction is as much larger as its current: 0.65 V at a hundredth of its rating
    model = BipolarModel(
        name="NPN_DRIVER",
        polarity="npn",
        current_gain=record.hfe_min,
        saturation_a=saturation_current_a() * max(record.ic_a / 0.1, 1.0),
    )
    build.resistor("speaker switch base resistor", "control", "speaker_on", drive.base_ohm)
    pins = ("driver_out", "speaker_on", GROUND)
    build.bought("Q", "transistor", pins, "speaker switch driver", model=model)


def _relay(build: Builder, relay: SpeakerRelay, drive: SwitchDrive, library: Library, back: str) -> None:
    model = RelayModel(
        name="RELAY",
        coil_ohm=relay.coil_ohm,
        coil_h=relay.coil_h,
        pull_in_a=library.relay(relay.relay).pull_in_v / relay.coil_ohm,
        drop_out_a=relay.drop_out_v / relay.coil_ohm,
        closed_ohm=relay.resistance_ohm,
    )
    top = "control"
    if relay.dropper_ohm is not None:
        top = "coil"
        build.resistor("speaker relay dropper", "control", top, relay.dropper_ohm)
    if relay.contact == "series":
        contacts = ("speaker_amp", "speaker_out", "relay_rest")
    else:  # the moving contact is the loudspeaker's: at rest it shorts the driver
        contacts = ("speaker_out", "speaker_amp", back)
    build.bought("K", "relay", (top, "driver_out", *contacts), "speaker relay", model=model)
    flyback = JunctionModel(name="FLYBACK", forward_v=0.7, rated_a=30e-3)
    far = top
    if drive.zener:
        far = "release"
        record = library.zener(drive.zener)
        zener = ZenerModel(
            name="RELEASE", zener_v=record.vz_v, slope_ohm=record.rz_ohm, rated_a=record.iz_test_a
        )
        build.bought("VR", "zener", (top, far), "speaker relay release zener", model=zener)
    build.bought("D", "diode", ("driver_out", far), "speaker relay flyback diode", model=flyback)


def _switch(build: Builder, switch: SpeakerSwitch, drive: SwitchDrive, library: Library) -> None:
    record = library.mosfet(switch.mosfet)
    model = SwitchModel(
        name="SWITCH",
        on_ohm=0.5 * switch.resistance_ohm * switch.per_side,
        off_ohm=_OFF_OHM,
        threshold_v=_THRESHOLD_V,
        clamp_v=record.vds_v,
    )
    build.resistor("speaker switch drive resistor", "control", "light", drive.light_ohm)
    role = "speaker switch gate drivers"
    build.bought("U", "gate driver", ("light", "light_middle", "gate", "gate_middle"), role, model=GATE_LIGHT)
    second = ("light_middle", "driver_out", "gate_middle", "switch_middle")
    build.bought("U", "gate driver", second, role, model=GATE_LIGHT)
    for drain in ("speaker_amp", "speaker_out"):
        for _ in range(switch.per_side):
            pins = (drain, "gate", "switch_middle")
            build.bought("Q", "mosfet", pins, "speaker switch", model=model)
    farad = 2 * switch.per_side * record.qg_coul / 10.0
    build.bench("GATE", "capacitor", ("gate", "switch_middle"), farad, "gates of the switches")
