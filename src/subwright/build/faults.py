"""What each fault of a first power-up does to the readings: one table that the steps and the diagnosis share.

A signature names readings with the levels that they may show: ``primary-phase=gone rail-positive=gone|low``.
Readings that a signature does not name stay inside their windows. A fault that can sit on either side has a
signature for each.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal, cast, get_args

from subwright.base.errors import SubwrightError
from subwright.build.faults_modulator import MODULATOR_FAULTS
from subwright.build.faults_voltage_stage import VOLTAGE_STAGE_FAULTS

__all__ = ["FAULTS", "Fault", "ReadingLevel", "Signature"]

ReadingLevel = Literal["gone", "low", "in", "high", "many"]
"""Where a reading lies: next to nothing, below its window, inside, above, many times too high."""

Signature = Mapping[str, tuple[ReadingLevel, ...]]


@dataclass(frozen=True, kw_only=True, slots=True)
class Fault:
    """One fault.

    Attributes
    ----------
    key : short name that a step's cause refers to. what : the fault in words. remedy : what to do.
    signatures : alternatives; each reading key with the levels that it may show.
    """

    key: str
    what: str
    remedy: str
    signatures: tuple[Signature, ...]


def _signature(words: str) -> Signature:
    made: dict[str, tuple[ReadingLevel, ...]] = {}
    for word in words.split():
        key, equals, levels = word.partition("=")
        parts = tuple(levels.split("|"))
        if not equals or not set(parts) <= set(get_args(ReadingLevel)):
            raise SubwrightError(message=f"'{word}' is no reading with its levels")
        made[key] = cast("tuple[ReadingLevel, ...]", parts)
    return MappingProxyType(made)


def _fault(key: str, what: str, remedy: str, *signatures: str) -> Fault:
    return Fault(key=key, what=what, remedy=remedy, signatures=tuple(_signature(s) for s in signatures))


def _sides(words: str, *sides: str) -> tuple[str, ...]:
    """One signature for each side: ``*`` stands for the side, ``~`` for the other one."""
    others = sides[::-1]
    return tuple(
        words.replace("*", side).replace("~", other) for side, other in zip(sides, others, strict=True)
    )


_RAILS: Final = ("positive", "negative")
_BOTH_OFF: Final = "{0}-trip={1} {0}-release={1} {0}-hysteresis=in|low|high"


def _bare() -> tuple[Fault, ...]:
    return (
        _fault(
            "input-shorted",
            "a switch or a suppressor is fitted back to front, or a solder bridge shorts the battery",
            "lift one lead at a time until the short is gone",
            "input-resistance=gone|low",
        ),
        _fault(
            "gate-punctured",
            "the gate of a switch is damaged and leaks to its source",
            "take that side's switches out and measure each alone; replace the pair",
            *_sides("gate-pull-down-*=gone|low gate-*=gone|low", "A", "B"),
        ),
        _fault(
            "rail-capacitor-leaky",
            "a capacitor of one rail leaks or is shorted; it was fitted or powered in reverse",
            "lift one lead of each in turn; one that was powered in reverse is finished",
            *_sides("bleeder-*=gone|low rail-*=gone|low|in loaded-rail-*=gone|low|in "
                    "rail-~=gone|low|in loaded-rail-~=gone|low|in "
                    "idle-current-converter=in|high|many loaded-current=in|high|many", *_RAILS),
        ),
        _fault(
            "bleeder-open",
            "the bleeder of one rail is missing or open: that rail keeps its charge",
            "fit it before the rails are ever powered",
            *_sides("bleeder-*=high|many", *_RAILS),
        ),
    )  # fmt: skip


def _transformer() -> tuple[Fault, ...]:
    limited = " ".join(
        (
            "idle-current-converter=high|many rail-positive=gone|low rail-negative=gone|low",
            "loaded-current=high|many loaded-rail-positive=gone|low loaded-rail-negative=gone|low",
        )
    )
    return (
        _fault(
            "half-primary-reversed",
            "one half-primary is reversed (swapped phase): both switches short the battery through it",
            "swap the ends of that half and read again",
            f"primary-phase=gone primary-phase-voltage=gone {limited}",
        ),
        _fault(
            "half-primary-open",
            "a missing half-primary: its bundle is not joined, or joined to the wrong pin",
            "trace each bundle with the ohmmeter before varnishing",
            "primary-halves=gone|many primary-phase=gone|many primary-phase-voltage=gone|low "
            # The half that is left magnetises one way only; what the core gives back may lift idle rails.
            "rail-positive=in|gone|low|high|many rail-negative=in|gone|low|high|many "
            "loaded-rail-positive=low|gone|in loaded-rail-negative=low|gone|in "
            "idle-current-converter=low|in|high|many loaded-current=low|in|high|many",
        ),
        _fault(
            "half-secondary-reversed",
            "one half-secondary is reversed: each rail is charged in every other half cycle only",
            "swap S3 with S4 and read again",
            "secondary-phase=gone leakage=many loaded-rail-positive=in|low loaded-rail-negative=in|low",
        ),
        _fault(
            "half-secondary-open",
            "a half-secondary is open or not joined: each rail is charged in every other half cycle only",
            "trace both halves with the ohmmeter; scrape and tin each strand",
            "turns-ratio-second=gone|low secondary-phase=gone|low leakage=many loaded-rail-positive=in|low "
            "loaded-rail-negative=in|low",
        ),
        _fault(
            "turn-missing",
            "the secondary has a turn too few, or the primary one too many",
            "add or take off a turn at the outer layer; a turn counts each time the wire passes the window",
            "turns-ratio=low turns-ratio-second=low rail-positive=low|in rail-negative=low|in "
            "loaded-rail-positive=low|in loaded-rail-negative=low|in",
        ),
        _fault(
            "turn-too-many",
            "the secondary has a turn too many, or the primary one too few",
            "add or take off a turn at the outer layer; a turn counts each time the wire passes the window",
            "turns-ratio=high turns-ratio-second=high rail-positive=high|in rail-negative=high|in "
            "loaded-rail-positive=high|in loaded-rail-negative=high|in",
        ),
        _fault(
            "shorted-turn",
            "a shorted turn: two strands or layers touch through the enamel",
            "unwind to it; varnish does not mend it",
            "primary-inductance=gone|low primary-phase=in|low|high primary-phase-voltage=in "
            "turns-ratio=in|low turns-ratio-second=in|low leakage=in|low "
            "idle-current-converter=high|many rail-positive=in|low|gone rail-negative=in|low|gone "
            "loaded-rail-positive=in|low|gone loaded-rail-negative=in|low|gone loaded-current=in|high|many",
        ),
        _fault(
            "strand-broken",
            "a strand of a bundle is broken or not soldered",
            "tin the ends again, all strands, and measure on four wires",
            "primary-resistance=high|many",
            "secondary-resistance=high|many",
        ),
        _fault(
            "windings-apart",
            "the windings don't lie on one another: too much leakage",
            "wind the half-primaries together, spread over the whole core",
            "leakage=high loaded-rail-positive=in|low loaded-rail-negative=in|low",
        ),
    )


def _converter() -> tuple[Fault, ...]:
    reach = "idle-current-converter=low|in|high|many duty=in|low|high amplifier-switching=in"
    return (
        _fault(
            "reference-wrong",
            "the controller is reversed, damaged, or its reference is loaded by a short",
            "out of the socket, measure the reference pin's track to ground",
            "reference-voltage=gone|low|high switching-frequency=gone|low|in|high "
            "under-voltage-hysteresis=in|low over-voltage-hysteresis=in|low "
            "under-voltage-trip=low|gone under-voltage-release=low|gone over-voltage-trip=low|gone "
            "over-voltage-release=low|gone thermistor-node=low|gone",
            "under-voltage-hysteresis=in|high over-voltage-hysteresis=in|high "
            "reference-voltage=high under-voltage-trip=high under-voltage-release=high "
            "over-voltage-trip=high over-voltage-release=high thermistor-node=in|high",
        ),
        _fault(
            "timing-resistor-wrong",
            "a wrong timing resistor: a band of its code misread",
            "take it out and measure it",
            f"switching-frequency=gone|low dead-time=in {reach}",
            f"switching-frequency=high|many dead-time=in {reach}",
        ),
        _fault(
            "timing-capacitor-wrong",
            "a wrong timing capacitor: 1 n, 1n5 and 2n2 look alike",
            "take it out and measure it",
            f"switching-frequency=gone|low dead-time=high|many {reach}",
            f"switching-frequency=high|many dead-time=gone|low {reach}",
        ),
        _fault(
            "timing-part-wrong",
            "a wrong timing part: a band of the resistor's code, or the capacitor's letters, misread",
            "take both out and measure them",
            f"switching-frequency=gone|low dead-time=in|high|many {reach}",
            f"switching-frequency=high|many dead-time=in|low|gone {reach}",
        ),
        _fault(
            "controller-held",
            "a protection holds the controller (lamp lit, link closed), or the remote line is off",
            "open the link; check the remote line and that the soft-start pin rises",
            "switching-frequency=gone dead-time=gone|many gate-A=gone gate-B=gone",
        ),
        _fault(
            "gate-resistor-open",
            "a gate resistor is missing, open or badly joined: that side never switches",
            "measure from the controller's output to the gate; resolder",
            *_sides("gate-*=gone loaded-rail-positive=in|low loaded-rail-negative=in|low "
                    "rail-positive=in|low rail-negative=in|low idle-current-converter=in|low|high|many "
                    "loaded-current=in|low|high|many", "A", "B"),
        ),
        _fault(
            "turn-off-missing",
            "the transistor or diode that pulls a gate down is missing or reversed",
            "compare both gate networks part by part",
            "duty=high|many",
        ),
        _fault(
            "rectifier-reversed",
            "a diode of the rail rectifier is reversed: with its neighbour it shorts the winding",
            "compare each package with the parts list; the capacitors of that rail may be finished",
            *_sides("rail-*=gone|low loaded-rail-*=gone|low rail-~=gone|low|in loaded-rail-~=gone|low|in "
                    "idle-current-converter=high|many loaded-current=in|high|many", *_RAILS),
        ),
        _fault(
            "rectifier-open",
            "both diodes of one rail are open or not fitted",
            "look at that rail's two joints of the rectifier",
            *_sides("rail-*=gone|low loaded-rail-*=gone|low idle-current-converter=in|low "
                    "loaded-current=low", *_RAILS),
        ),
    )  # fmt: skip


def _boost() -> tuple[Fault, ...]:
    dead = "raised-rail=gone raised-rail-loaded=gone|low"
    return (
        _fault(
            "choke-gap-wrong",
            "the boost choke's gap or turns are wrong",
            "count the turns, measure the spacer, clamp, and read again",
            "choke-inductance=gone|low raised-loaded-current=in|high",
            "choke-inductance=high|many raised-loaded-current=in|high|many",
        ),
        _fault(
            "choke-open",
            "a strand of the boost choke, or all of it, is not soldered",
            "tin the ends again, all strands",
            "choke-resistance=high|many choke-inductance=in|many rail-passive=in|gone "
            "raised-rail=in|gone raised-rail-loaded=in|gone|low",
        ),
        _fault(
            "boost-diode-reversed",
            "the boost rectifier is reversed or open",
            "compare the package's common pin with the parts list",
            f"rail-passive=gone passive-current=gone {dead}",
        ),
        _fault(
            "boost-switch-shorted",
            "the boost switch is shorted, or its gate floats: choke and switch short the battery",
            "measure it from drain to source; its pull-down must be fitted",
            f"rail-passive=gone passive-current=high|many {dead}",
        ),
        _fault(
            "boost-capacitor-leaky",
            "a capacitor of the raised rail is reversed or leaks",
            "feel which one warms; it is finished",
            "passive-current=high|many rail-passive=in|low raised-rail-current=in|high|many",
        ),
        _fault(
            "boost-timing-wrong",
            "a wrong timing part of the boost controller",
            "take resistor and capacitor out and measure them",
            "boost-frequency=gone|low raised-loaded-current=in|high",
            "boost-frequency=high|many raised-rail-current=in|high|many raised-loaded-current=in|high",
        ),
        _fault(
            "boost-held",
            "something holds the boost controller: its feedback, the rail guard, or its own supply",
            "measure supply, feedback pin and current-sense pin, in this order",
            "boost-frequency=gone boost-gate=gone raised-rail=low|gone raised-rail-loaded=low|gone",
        ),
        _fault(
            "boost-gate-low",
            "the boost switch's gate supply is low: a wrong zener",
            "measure across it",
            "boost-gate=low raised-loaded-current=in|high",
        ),
        _fault(
            "feedback-divider-wrong",
            "a wrong or open resistor in the boost converter's feedback divider",
            "measure both out of circuit",
            "raised-rail=low raised-rail-loaded=low",
            "raised-rail=high|many raised-rail-loaded=high|many",
        ),
        _fault(
            "boost-never-switches",
            "the boost switch never turns on, or every pulse is cut short",
            "oscilloscope at the gate, then at the current-sense pin",
            "raised-rail=low raised-rail-loaded=low raised-rail-current=gone|low "
            "raised-loaded-current=gone|low",
        ),
        _fault(
            "boost-limit-early",
            "the boost converter's current limit cuts in: a wrong burden",
            "look at the current-sense pin: it must stay under a volt",
            "raised-rail-loaded=low|gone raised-loaded-current=low|gone|in",
        ),
        _fault(
            "boost-lossy",
            "the choke saturates, or the boost rectifier is a slow one",
            "look at the drain current: a straight line must not turn up at its end",
            "raised-loaded-current=high|many",
        ),
    )


def _watch(name: str, words: str) -> tuple[Fault, ...]:
    return (
        _fault(
            f"{name}-divider-wrong",
            f"a wrong resistor in the {words} divider: a digit of its code misread",
            "measure the divider's parts out of circuit, then: subwright fitted",
            *(_BOTH_OFF.format(name, levels) for levels in ("gone|low", "high|many")),
        ),
        _fault(
            f"{name}-feedback-open",
            f"the {words} feedback resistor is open: trip and release fall together, and it chatters",
            "measure the feedback resistor; the release must differ from the trip",
            f"{name}-trip=in {name}-release=in|low|high {name}-hysteresis=gone|low",
        ),
    )  # fmt: skip


def _guards() -> tuple[Fault, ...]:
    return (
        *_watch("under-voltage", "under-voltage"),
        *_watch("over-voltage", "over-voltage"),
        _fault(
            "inhibit-silent",
            "the lamp lights but nothing stops: a combining diode is reversed, or the isolating link is open",
            "close the link; the diode's cathode looks at the comparator",
            "inhibit-line=gone|low",
        ),
        _fault(
            "thermistor-open",
            "the thermistor or its lead is open: it looks like deep cold, and the thermal trip is blind",
            "check the plug; crimp, don't twist",
            "thermistor-node=gone",
        ),
        _fault(
            "thermistor-shorted",
            "the thermistor's leads touch each other: it looks like great heat, and the unit never runs",
            "measure from lead to lead, unplugged",
            "thermistor-node=high|many",
        ),
        _fault(
            "thermal-level-wrong",
            "a wrong resistor in the thermal level, or in series with the thermistor",
            "measure the level divider out of circuit",
            "thermal-trip-resistance=gone|low thermal-release-resistance=gone|low "
            "thermistor-node=in|low|high",
            "thermal-trip-resistance=high|many thermal-release-resistance=high|many "
            "thermistor-node=in|low|high",
        ),
        _fault(
            "thermal-feedback-open",
            "the thermal feedback resistor is open: it trips and releases at one temperature",
            "measure it; the release must differ from the trip",
            "thermal-trip-resistance=high thermal-release-resistance=low",
            "thermal-trip-resistance=high thermal-release-resistance=in",
            "thermal-trip-resistance=in thermal-release-resistance=low",
        ),
        _fault(
            "over-current-level-wrong",
            "a wrong or open resistor in the over-current level",
            "measure the divider out of circuit",
            "over-current-level=gone|low",
            "over-current-level=high|many",
        ),
    )


def _sound() -> tuple[Fault, ...]:
    return (
        _fault(
            "output-switch-shorted",
            "a switch of the output stage is shorted, reversed, or its insulator is pierced",
            "measure each from tab to heatsink, then from drain to source",
            "idle-current=many|high stage-drop=many|high output-offset=many|high|low|in "
            "node-rest=in|gone|low|high|many",
        ),
        _fault(
            "coupling-leaky",
            "a coupling capacitor is reversed or leaks: a steady voltage gets through",
            "short the stages' inputs one after another, from the output backwards",
            "output-offset=low|high|many",
        ),
        _fault(
            "amplifier-timing-wrong",
            "a wrong timing part of the amplifier's oscillator",
            "measure it out of circuit; then feel the output inductor",
            "modulator-clock=gone|low gate-frequency=in|gone|low|high|many "
            "amplifier-switching=in|gone|low|high|many stage-drop=in|low|high|many "
            "idle-current=in|low|high|many",
            "modulator-clock=high|many gate-frequency=in|high|many amplifier-switching=in|high|many "
            "stage-drop=in|low|high|many idle-current=in|low|high|many",
            *(
                f"amplifier-switching={way} gate-frequency={way} stage-drop=in|low|high|many "
                "idle-current=in|high|many"
                for way in ("low", "high|many")
            ),
        ),
        _fault(
            "input-silent",
            "one input carries nothing: its summing resistor or coupling capacitor is open",
            "follow that input from its socket with the oscilloscope",
            *_sides("output-level=low output-level-*=gone output-level-~=in", "a", "b"),
        ),
        _fault(
            "input-swapped",
            "one input is swapped, tip with shell or hot with cold: the two cancel in the sum",
            "swap that input's leads",
            "output-level=gone output-level-a=in output-level-b=in",
        ),
        _fault(
            "low-pass-part-wrong",
            "a wrong part in the filter: 10 n against 100 n is a decade, 4n7 against 6n8 a third",
            "measure the filter's capacitors; compare with the parts list",
            "low-pass-corner=gone|low output-level=in|low|gone output-level-a=in|low|gone "
            "output-level-b=in|low|gone",
            "low-pass-corner=in output-level=gone|low output-level-a=gone|low output-level-b=gone|low",
            "low-pass-corner=in output-level=high|many output-level-a=high|many output-level-b=high|many",
            "low-pass-corner=high|many output-level=in|low|high output-level-a=in|low|high "
            "output-level-b=in|low|high",
        ),
        _fault(
            "infrasonic-part-wrong",
            "a wrong part in the infrasonic filter",
            "measure its two capacitors; compare with the parts list",
            "infrasonic-corner=gone|low output-level=in|high|low output-level-a=in|high|low "
            "output-level-b=in|high|low",
            "infrasonic-corner=high|many output-level=in|low|gone output-level-a=in|low|gone "
            "output-level-b=in|low|gone",
        ),
        _fault(
            "timer-capacitor-wrong",
            "a timer capacitor is missing, reversed or a decade too small",
            "measure it",
            "un-mute-delay=gone|low",
            "speaker-delay=gone|low",
            "un-mute-delay=gone|low speaker-delay=gone|low",
        ),
        _fault(
            "coils-joined-otherwise",
            "two coils or drivers are joined the other way than designed",
            "compare with the wiring page",
            "driver-resistance=gone|low clip-output=in|low",
            "driver-resistance=high|many clip-output=in|high",
        ),
        _fault(
            "box-leaks",
            "the box leaks: gasket, terminal, or a joint without glue",
            "listen for air at the joints while a low tone plays softly",
            "box-resonance=low|gone",
        ),
        _fault(
            "port-off",
            "the port or the radiator's mass is not what was designed",
            "measure its length inside the box; compare with the panel drawings",
            "box-tuning=low|gone",
            "box-tuning=high|many",
        ),
        _fault(
            "supply-path-poor",
            "the supply path is poorer than designed: thin cable, a bad crimp or a tired battery",
            "measure the drop along each joint while it plays",
            "clip-terminal=low|gone clip-output=low|in|gone",
        ),
        _fault(
            "heat-path-poor",
            "heat doesn't reach the air: no paste, a loose clamp, fins lying flat or covered",
            "compare the parts' own temperatures: the odd one is badly mounted",
            "sink-rise=high|many",
        ),
    )


FAULTS: Final[Mapping[str, Fault]] = MappingProxyType(
    {
        fault.key: fault
        for fault in (
            *_bare(),
            *_transformer(),
            *_converter(),
            *_boost(),
            *_guards(),
            *(_fault(*row) for row in MODULATOR_FAULTS),
            *(_fault(*row) for row in VOLTAGE_STAGE_FAULTS),
            *_sound(),
        )
    }
)
"""Every fault by its key."""
