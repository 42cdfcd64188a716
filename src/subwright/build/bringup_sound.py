"""Steps of the first power-up on the driver's side: amplifier, loudspeaker protection, first sound, soak."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from subwright.base.units import show
from subwright.build.bringup_driver import driver_steps
from subwright.build.bringup_modulator import switching_reading
from subwright.build.bringup_numbers import supply_limit
from subwright.build.bringup_rails import POWER_STOPS
from subwright.build.bringup_records import BenchSupply, Cause, Reading, Step
from subwright.build.bringup_tone import bring_up_tone, chain_gain, offset_limit_v
from subwright.build.result import Design
from subwright.stages.common import Corner, Level
from subwright.stages.filter import FilterResult

__all__ = ["sound_steps"]


def sound_steps(design: Design, bench_v: float, links: str) -> Iterator[Step]:
    """Amplifier without signal, with signal, delays and detector, driver, first sound, soak."""
    yield _at_rest(design, bench_v, links)
    yield _signal(design, bench_v, links)
    yield _delays(design, bench_v, links)
    yield from driver_steps(design)


def _at_rest(design: Design, bench_v: float, links: str) -> Step:
    amplifier = design.amplifier
    idle = design.point(Corner.CHARGING, Level.IDLE).battery_a
    split = not amplifier.from_battery
    supply_v = bench_v if design.boost is None else design.boost.set_v
    model, modulator = amplifier.model, amplifier.modulator
    offset_v, offset_basis = offset_limit_v(design)
    readings = [
        Reading(
            key="idle-current",
            name="supply current, no signal",
            where="the supply's own meter",
            dimension="current",
            expected=idle,
            low=0.5 * idle,
            high=2.0 * idle,
            basis="losses without load half to twice",
            customary=True,
            rests_on=("amplifier", "converter", "transformer"),
        ),
        Reading(
            key="output-offset",
            name="steady voltage at the output",
            where="speaker terminal to ground" if split else "from one speaker terminal to the other",
            dimension="voltage",
            expected=0.0,
            low=-offset_v,
            high=offset_v,
            basis=offset_basis,
            customary=True,
            rests_on=("amplifier", "filter"),
        ),
    ]
    if not split:
        readings.append(
            Reading(
                key="output-rest",
                name="each speaker terminal to ground",
                where="speaker terminal to battery −",
                dimension="voltage",
                expected=0.5 * supply_v,
                low=0.47 * supply_v,
                high=0.53 * supply_v,
                basis="half of the amplifier's supply; 6 % for divider and offset",
                customary=True,
                rests_on=("amplifier",),
            )
        )
    switching = float(getattr(model, "switching_hz", 0.0))
    if modulator is not None:
        where = "ahead of the output inductor"
        readings.append(
            switching_reading(modulator, "amplifier-switching", "amplifier's switching frequency", where)
        )
    elif switching > 0.0:
        readings.append(
            Reading(
                key="amplifier-switching",
                name="amplifier's switching frequency",
                where="ahead of the output inductor",
                dimension="frequency",
                expected=switching,
                low=0.85 * switching,
                high=1.15 * switching,
                basis="15 % for the oscillator's parts",
                customary=True,
                rests_on=("amplifier",),
            )
        )
    return Step(
        number=0,
        key="amplifier",
        title="Amplifier without signal",
        fitted=("amplifier's supply connected",),
        absent=("driver", "dummy load"),
        links=links,
        supply=BenchSupply(voltage_v=bench_v, limit_a=supply_limit(2.0 * idle)),
        load="nothing on the output",
        actions=(
            "Discharge everything, take the dummy loads off the rails, connect the amplifier.",
            "Input shorted, level at zero. Turn the voltage up slowly and watch the current.",
        ),
        readings=tuple(readings),
        causes=(
            Cause(
                sign="into the limit at once",
                cause="an output switch is reversed, shorted, or its insulator is pierced",
                remedy="measure each from tab to heatsink, then drain to source",
                fault="output-switch-shorted",
            ),
            Cause(
                sign="output sits at a rail",
                cause="an open feedback path, or one output switch never turns on",
                remedy="measure the feedback resistor; compare both gate signals",
            ),
            Cause(
                sign="current twice the stated, everything warm",
                cause="dead time too short, or the switching frequency too high from a wrong timing part",
                remedy="measure both; then the output inductor's temperature",
                fault="amplifier-timing-wrong",
            ),
            Cause(
                sign="a steady voltage of some hundred millivolts",
                cause="a coupling capacitor is reversed or leaks",
                remedy="short the stages' inputs one after another, from the output backwards",
                fault="coupling-leaky",
            ),
            *(
                (
                    Cause(
                        sign="the same with the modulator's input shorted",
                        cause="the integrator's resistors are not equal in pairs",
                        remedy="pair them with a meter; the two of each value must agree",
                    ),
                )
                if modulator is not None
                else ()
            ),
        ),
        stops=(*POWER_STOPS, "A steady voltage above 1 V at the output."),
    )


def _signal(design: Design, bench_v: float, links: str) -> Step:
    response, low_pass = design.filter, design.filter.low_pass
    frequency = response.frequency_hz
    playing = bring_up_tone(design)
    tone, input_v = playing.hertz, playing.input_v

    def at(values: np.ndarray) -> float:
        return float(np.interp(tone, frequency, values))

    expected = input_v * chain_gain(design, tone)
    spread_low = 10.0 ** ((at(response.band_low_db) - at(response.gain_db)) / 20.0)
    spread_high = 10.0 ** ((at(response.band_high_db) - at(response.gain_db)) / 20.0)
    upper = _corner_hz(response, tone, low_pass.drop_db, low_pass.nominal_hz, upwards=True)
    readings = [
        Reading(
            key="output-level",
            name=f"output at {show(tone, 'frequency')}, input {show(input_v, 'voltage')} rms",
            where="across the dummy load, rms",
            dimension="voltage",
            expected=expected,
            low=0.95 * spread_low * expected,
            high=1.05 * spread_high * expected,
            basis="filter parts at their limits; amplifier gain and meters 5 %",
            customary=True,
            rests_on=("filter", "input", "amplifier"),
        ),
        Reading(
            key="low-pass-corner",
            name=f"frequency above at which it has fallen by {low_pass.drop_db:.1f} dB",
            where="across the dummy load, against the level in the middle of the band",
            dimension="frequency",
            expected=upper,
            low=low_pass.worst_low_hz * upper / low_pass.nominal_hz,
            high=low_pass.worst_high_hz * upper / low_pass.nominal_hz,
            basis="every part of the filter at its limit",
            rests_on=("filter/low-pass",),
        ),
    ]
    if response.infrasonic is not None:
        below = response.infrasonic
        lower = _corner_hz(response, tone, below.drop_db, below.nominal_hz, upwards=False)
        readings.append(
            Reading(
                key="infrasonic-corner",
                name=f"frequency below at which it has fallen by {below.drop_db:.1f} dB",
                where="across the dummy load, against the level in the middle of the band",
                dimension="frequency",
                expected=lower,
                low=below.worst_low_hz * lower / below.nominal_hz,
                high=below.worst_high_hz * lower / below.nominal_hz,
                basis="every part of the filter at its limit",
                rests_on=("filter/infrasonic",),
            )
        )
    channels = design.input.channels
    if channels == 2:
        readings[1:1] = [
            replace(
                readings[0],
                key=f"output-level-{name}",
                name=f"the same with input {name.upper()} alone, the other shorted",
                expected=0.5 * expected,
                low=0.5 * readings[0].low,
                high=0.5 * (readings[0].high or expected),
            )
            for name in ("a", "b")
        ]
    load = design.amplifier.load_ohm
    quiet_w = (1.1 * expected) ** 2 / load
    charging = design.point(Corner.CHARGING, Level.IDLE)
    amps = charging.battery_a + 2.0 * quiet_w / bench_v
    return Step(
        number=0,
        key="signal",
        title="Signal through the whole chain",
        fitted=("input leads",),
        absent=("driver",),
        links=links,
        supply=BenchSupply(voltage_v=bench_v, limit_a=supply_limit(1.5 * amps)),
        load=f"{show(load, 'resistance')} resistor, {max(10.0, 4.0 * quiet_w):.0f} W or more, on the output",
        actions=(
            f"Sine of {show(tone, 'frequency')} from a generator, "
            f"{show(input_v, 'voltage')} rms on each input, level at its top, phase at zero.",
            "Look at the output with the oscilloscope: a clean sine, the switching ripple no more than a "
            "fine fringe on it.",
            "Sweep the frequency for the corners. Then try the level, phase and corner controls.",
        ),
        readings=tuple(readings),
        causes=(
            *_input_causes(design),
            Cause(
                sign="corner off by more than the window",
                cause="a wrong capacitor: 10 n against 100 n is a decade, 4n7 against 6n8 a third",
                remedy="measure the filter's capacitors; compare with the parts list",
                fault="low-pass-part-wrong",
            ),
            *(
                ()
                if response.infrasonic is None
                else (
                    Cause(
                        sign="infrasonic corner off by more than the window",
                        cause="a wrong part in the infrasonic filter",
                        remedy="measure its two capacitors; compare with the parts list",
                        fault="infrasonic-part-wrong",
                    ),
                )
            ),
            Cause(
                sign="hum or a ring at the switching frequency",
                cause="the signal ground runs beside the power return",
                remedy="one ground point at the amplifier; twist the leads",
            ),
            Cause(
                sign="clipped on one side",
                cause="one op-amp supply is missing or its zener is reversed",
                remedy="measure both supply pins",
            ),
        ),
        stops=(*POWER_STOPS, "The output breaks into oscillation when the level control is moved."),
    )


def _corner_hz(
    response: FilterResult, tone: float, drop_db: float, alone_hz: float, *, upwards: bool
) -> float:
    """Where the whole chain has fallen by ``drop_db`` against ``tone``, as the bench reads it, Hz.

    A corner is designed on its own section; on the bench every other section bends the response too.
    """
    axis, gain = response.frequency_hz, response.gain_db
    if not upwards:
        axis, gain = axis[::-1], gain[::-1]
    past = (axis - tone) * (1.0 if upwards else -1.0) >= 0.0
    axis, gain = axis[past], gain[past]
    level = float(np.interp(tone, response.frequency_hz, response.gain_db)) - drop_db
    under = np.flatnonzero(gain < level)
    if not under.size or under[0] == 0:
        return alone_hz
    k = int(under[0])
    share = (gain[k - 1] - level) / (gain[k - 1] - gain[k])
    return float(axis[k - 1] * (axis[k] / axis[k - 1]) ** share)


def _input_causes(design: Design) -> tuple[Cause, ...]:
    if design.input.channels != 2:
        return (
            Cause(
                sign="nothing at the output",
                cause="the input's resistor or coupling capacitor is open",
                remedy="follow the signal from its socket with the oscilloscope",
            ),
        )
    return (
        Cause(
            sign="half the level, nothing from one input alone",
            cause="that input carries nothing: its summing resistor or coupling capacitor is open",
            remedy="follow it from its socket with the oscilloscope",
            fault="input-silent",
        ),
        Cause(
            sign="next to nothing from both, each alone in order",
            cause="a swapped summing input, tip with shell or hot with cold: the two cancel",
            remedy="swap that input's leads",
            fault="input-swapped",
        ),
    )


def _delays(design: Design, bench_v: float, links: str) -> Step:
    readings = []
    events = {} if design.control is None else {event.name: event for event in design.control.switch_on}
    for name, key in (("amplifier un-muted", "un-mute-delay"), ("loudspeaker connected", "speaker-delay")):
        event = events.get(name)
        if event is None or event.latest_s <= 0.0:
            continue
        readings.append(
            Reading(
                key=key,
                name=f"{name}, after switching on",
                where="stopwatch or oscilloscope, from the remote line's edge",
                dimension="time",
                expected=0.5 * (event.earliest_s + event.latest_s),
                low=event.earliest_s,
                high=event.latest_s,
                basis="timer parts at their limits",
                rests_on=("control",),
            )
        )
    if design.control is not None and design.control.remote is not None:
        remote = design.control.remote
        readings.append(
            Reading(
                key="remote-on",
                name="remote line's voltage at which it switches on",
                where="remote terminal to ground, turned up slowly",
                dimension="voltage",
                expected=remote.on_v,
                low=remote.on_low_v,
                high=remote.on_high_v,
                basis="a transistor's threshold over parts and temperature",
                rests_on=("control/remote",),
            )
        )
    guard = design.speaker_guard
    detector = guard.detector if guard is not None and guard.fitted else None
    if detector is not None:
        readings.append(
            Reading(
                key="direct-voltage-trip",
                name="steady voltage that parts the driver",
                where="the detector's input, from a second supply through 1 kΩ, amplifier's output lifted",
                dimension="voltage",
                expected=detector.threshold_v,
                low=detector.threshold_low_v,
                high=detector.threshold_high_v,
                basis="a transistor's threshold, hot and cold",
                rests_on=("speaker_guard",),
            )
        )
    idle = design.point(Corner.CHARGING, Level.IDLE).battery_a
    return Step(
        number=0,
        key="delays",
        title="Switching on, and the driver's protection",
        fitted=(),
        absent=("driver",),
        links=links,
        supply=BenchSupply(voltage_v=bench_v, limit_a=supply_limit(2.0 * idle)),
        load="dummy load as before, level at zero",
        actions=(
            "Switch on by the remote line and time what follows. Switch off: the driver must part before the "
            "rails fall.",
            "Try a steady voltage of each polarity on the detector where one is fitted.",
        ),
        readings=tuple(readings),
        causes=(
            Cause(
                sign="no delay",
                cause="a timer capacitor is missing, reversed or a decade too small",
                remedy="measure it",
                fault="timer-capacitor-wrong",
            ),
            Cause(
                sign="never connects",
                cause="the detector sees a steady voltage, or one of its transistors is turned round",
                remedy="measure the output's steady voltage first",
            ),
            Cause(
                sign="thump at switch-off",
                cause="the discharge diode of the timer is reversed",
                remedy="its cathode looks at the control supply",
            ),
        ),
        stops=("A steady voltage does not part the driver.",)
        if detector is not None
        else ("A thump at the output.",),
    )
