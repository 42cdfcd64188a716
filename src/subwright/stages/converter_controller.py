"""What stands around the converter's controller: decoupling, inhibit, the loop's capacitor; with its bill."""

from __future__ import annotations

from math import sqrt
from typing import Final

from subwright.base.preferred import at_least
from subwright.parts.library import Library
from subwright.parts.schema import Controller
from subwright.stages.common import PartUse, record_use
from subwright.stages.converter_bill_lines import capacitor_line, resistor_line
from subwright.stages.converter_family import RAMP_DIVIDER_OHM, duty_v, open_emitters, soft_start_ohm
from subwright.stages.converter_result import ConverterResult

__all__ = [
    "CERAMIC_F",
    "HALF_LOOP_OHM",
    "HALF_OHM",
    "INHIBIT_NPN",
    "INHIBIT_OHM",
    "LOOP_OHM",
    "OUTPUT_PULL_OHM",
    "RAMP_NPN",
    "RESET_BASE_OHM",
    "RESET_PNP",
    "SHUTDOWN_OHM",
    "SHUTDOWN_PULL_OHM",
    "SUPPLY_F",
    "controller_parts",
    "loop_capacitor_f",
    "supply_rating_v",
]

SUPPLY_F: Final = 47e-6
CERAMIC_F: Final = 100e-9
OUTPUT_PULL_OHM: Final = 470.0  # under an output that is an emitter follower
INHIBIT_NPN: Final = "BC547B"
RESET_PNP: Final = "BC557B"
INHIBIT_OHM: Final = 10e3  # into the base, and from it to ground
RESET_BASE_OHM: Final = 4.7e3
LOOP_OHM: Final = 47e3  # from the divider to the error amplifier, and from the reference: their bias cancels
HALF_LOOP_OHM: Final = 91e3  # each half of a divider that halves the reference, in place of the latter
HALF_OHM: Final = (4.7e3, 1e3, 4.7e3)  # keeps a resting 3524's amplifier within its range, its output high
SHUTDOWN_OHM: Final = 10e3  # into a shutdown pin that takes a base's current, or has a low threshold
SHUTDOWN_PULL_OHM: Final = 4.7e3  # from there to ground: a 3846 stops at 0.35 V
RAMP_NPN: Final = "BC547B"  # carries the 3846's ramp to its current sense

_RATINGS_V: Final = (16.0, 25.0, 35.0, 50.0, 63.0, 100.0)
_RESERVE: Final = 1.25
_PEAK: Final = 0.4  # most loop gain at the choke's resonance
_LAG: Final = 0.5  # crossing over the first pole: leaves a phase margin of 60°


def supply_rating_v(feed_v: float) -> float:
    """Rating of the electrolytic at the controller's supply, V."""
    return next((v for v in _RATINGS_V if v >= _RESERVE * feed_v), _RATINGS_V[-1])


def loop_capacitor_f(
    controller: Controller,
    *,
    winding_v: float,
    divided: float,
    choke_h: float,
    rails_f: float,
    path_ohm: float,
    source_ohm: float,
) -> float:
    """Capacitor from the error amplifier's output to its inverting input: it makes the loop an integrator.

    Parameters
    ----------
    controller : its ramp sets the gain. winding_v : half-secondary at the highest battery, V.
    divided : reference over rail. choke_h : one winding, H.
    rails_f : both rails' banks, F.
    path_ohm, source_ohm : resistance from battery terminal to rails and of battery and cable, seen from the
        rails, Ω.

    Returns
    -------
    F, of the E6 series: the loop crosses where choke and banks lag by no more than 30°, and at their
    resonance it stays below 0.4.

    Source
    ------
    Buck-derived converter's second-order response; Erickson & Maksimović, ch. 8 and 9. [erickson2001]
    """
    low_v, high_v = duty_v(controller)
    resonance = 1.0 / sqrt(choke_h * rails_f)
    crossing = min(
        min(_PEAK * resonance * ohm / sqrt(choke_h / rails_f), _LAG / (ohm * rails_f))
        for ohm in (path_ohm, path_ohm + source_ohm)
    )
    return at_least(divided * winding_v / (high_v - low_v) / (LOOP_OHM * crossing), "E6")


def controller_parts(result: ConverterResult, feed_v: float, library: Library) -> list[PartUse]:
    """Bill of the parts named here.

    Parameters
    ----------
    result : the converter. feed_v : highest supply of the controller, V. library : parts, drawer merged.
    """
    controller, ceramic = result.plan.controller, "ceramic X7R"
    uses = [
        capacitor_line("controller ceramic", CERAMIC_F, 1, ceramic, 50, 0.1),
        capacitor_line("reference capacitor", CERAMIC_F, 1, ceramic, 50, 0.1),
    ]
    if result.gate_supply is None:
        uses.append(
            capacitor_line(
                "controller supply capacitor", SUPPLY_F, 1, "electrolytic", supply_rating_v(feed_v), 0.2
            )
        )
    if result.loop_f:
        uses += [
            capacitor_line("loop capacitor", result.loop_f, 1, "film", 63, 0.1),
            resistor_line("loop resistor", LOOP_OHM, 1),
        ]
    if open_emitters(controller):
        uses.append(resistor_line("output pull-down", OUTPUT_PULL_OHM, 2))
    made = {"494": _parts_494, "3524": _parts_3524, "3846": _parts_3846}.get(controller.family, _parts_3525)
    return [*uses, *made(result, library)]


def _parts_3525(result: ConverterResult, library: Library) -> list[PartUse]:
    return [resistor_line("reference resistor", LOOP_OHM, 1)] if result.loop_f else []


def _parts_494(result: ConverterResult, library: Library) -> list[PartUse]:
    uses = [] if result.plan.timing.divider_bottom_ohm else [_soft_start_line(result)]
    if result.loop_f:
        uses += [
            resistor_line("reference resistor", LOOP_OHM, 1),
            capacitor_line("balance capacitor", result.loop_f, 1, "film", 63, 0.1),
        ]
    return [
        *uses,
        *_inhibit_lines(library),
        record_use("soft-start reset transistor", "Q", library.transistors[RESET_PNP], 1, library),
        resistor_line("soft-start reset base resistor", RESET_BASE_OHM, 1),
        resistor_line("soft-start reset pull-up", INHIBIT_OHM, 1),
    ]


def _parts_3524(result: ConverterResult, library: Library) -> list[PartUse]:
    top, middle, bottom = (HALF_LOOP_OHM, 0.0, HALF_LOOP_OHM) if result.loop_f else HALF_OHM
    uses = [
        resistor_line("reference divider, top", top, 1),
        resistor_line("reference divider, bottom", bottom, 1),
    ]
    if middle:
        uses.append(resistor_line("reference divider, middle", middle, 1))
    return [
        *uses,
        record_use("duty clamp transistor", "Q", library.transistors[RESET_PNP], 1, library),
        *_inhibit_lines(library),
        resistor_line("shutdown resistor", SHUTDOWN_OHM, 1),
    ]


def _parts_3846(result: ConverterResult, library: Library) -> list[PartUse]:
    top, bottom = RAMP_DIVIDER_OHM
    return [
        *_parts_3525(result, library),
        _soft_start_line(result),
        record_use("ramp follower", "Q", library.transistors[RAMP_NPN], 1, library),
        resistor_line("ramp divider, top", top, 1),
        resistor_line("ramp divider, bottom", bottom, 1),
        resistor_line("shutdown resistor", SHUTDOWN_OHM, 1),
        resistor_line("shutdown pull-down", SHUTDOWN_PULL_OHM, 1),
    ]


def _soft_start_line(result: ConverterResult) -> PartUse:
    return resistor_line("soft-start resistor", soft_start_ohm(result.plan.controller), 1)


def _inhibit_lines(library: Library) -> list[PartUse]:
    """A transistor that the protection's inhibit line switches on."""
    return [
        record_use("inhibit transistor", "Q", library.transistors[INHIBIT_NPN], 1, library),
        resistor_line("inhibit base resistor", INHIBIT_OHM, 1),
        resistor_line("inhibit base pull-down", INHIBIT_OHM, 1),
    ]
