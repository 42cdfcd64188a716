"""The low-pass whose corner a ganged potentiometer sweeps, in preferred values."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from subwright.base.preferred import between
from subwright.physics.networks.prototypes import Section
from subwright.physics.networks.swept_search import SweptChoice, search_swept
from subwright.physics.networks.topology_search import search_divider
from subwright.stages.filter_draft import SUMMING_OHM, Draft, Range, state_variable
from subwright.stages.filter_spec import FilterSpec

__all__ = ["swept_low_passes"]

_POTS_OHM: Final = (10e3, 100e3)
_END_MISS: Final = 0.15  # of either end of the sweep; the tracks' own tolerance is larger
_DB_PER_ERROR: Final = 25.0  # miss of the response allowed for a share of other stages' poles and Q, dB


def swept_low_passes(
    spec: FilterSpec, sections: tuple[Section, ...], resistors: Range, capacitors: Range, error_limit: float
) -> tuple[Draft, ...]:
    """Stages whose equal resistors are tracks of one potentiometer, set to the wanted corner.

    Parameters
    ----------
    spec : the builder's wishes, both ends of the sweep among them. sections : of the prototype.
    resistors, capacitors : values to choose from. error_limit : what other stages' poles and Q may miss.

    Raises
    ------
    NoSolutionError : no parts come near enough.
    """
    choice = search_swept(
        spec.sweep_low_hz or 0.0,
        spec.sweep_high_hz or 0.0,
        [(s.ratio, s.q or 0.5) for s in sections],
        pots_ohm=between(*_POTS_OHM, "E3"),
        resistors_ohm=resistors(560.0, 100e3),
        capacitors_f=capacitors(10e-9, 1e-6),
        unity=spec.topology == "unity",
        summing_ohm=SUMMING_OHM,
        end_limit=_END_MISS,
        shape_limit_db=_DB_PER_ERROR * error_limit,
    )
    gang = float(np.clip(choice.corner_ohm_hz / spec.corner_hz - choice.foot_ohm, 0.0, choice.pot_ohm))
    build = _follower if spec.topology == "unity" else _variable
    return tuple(
        replace(
            build(section, choice, k, gang, resistors),
            name=f"low-pass {'AB'[k]}",
            f0_target_hz=section.ratio * spec.corner_hz,
            q_target=section.q,
        )
        for k, section in enumerate(sections)
    )


def _tracks(choice: SweptChoice, gang: float) -> dict[str, float]:
    return {"R1": choice.foot_ohm, "R2": choice.foot_ohm, "R1 gang": gang, "R2 gang": gang}


def _follower(_section: Section, choice: SweptChoice, k: int, gang: float, _resistors: Range) -> Draft:
    """A unity-gain Sallen–Key stage: its capacitors set Q."""
    first, second = choice.capacitors_f[k]
    mean = float(np.sqrt(first * second))
    return Draft(
        kind="low-pass",
        resistors_ohm=_tracks(choice, gang),
        capacitors_f={"C to output": first, "C to ground": second},
        gain=1.0,
        f0_hz=1.0 / (2 * np.pi * (choice.foot_ohm + gang) * mean),
        q=0.5 * float(np.sqrt(first / second)),
        track_ohm=choice.pot_ohm,
    )


def _variable(section: Section, choice: SweptChoice, k: int, gang: float, resistors: Range) -> Draft:
    """A state-variable stage: a divider sets Q, the summing amplifier's own resistor the pole's place."""
    capacitor, high = choice.capacitors_f[k][0], choice.high_ohm[k]
    share = high / SUMMING_OHM
    divider = search_divider(section.q or 0.5, divider_ohm=resistors(4.7e3, 47e3), high_share=share)
    return state_variable(
        divider_ohm=(divider.upper_ohm, divider.lower_ohm),
        tracks_ohm=_tracks(choice, gang),
        capacitor_f=capacitor,
        f0_hz=float(np.sqrt(share)) / (2 * np.pi * (choice.foot_ohm + gang) * capacitor),
        q=divider.q,
        high_ohm=high,
        track_ohm=choice.pot_ohm,
    )
