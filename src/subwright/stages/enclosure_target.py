"""What box to aim for: net volume and tuning from an alignment, from what is asked, or from the room."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from subwright.base.errors import NoSolutionError, RangeError
from subwright.base.units import show
from subwright.physics.acoustics.alignments import (
    Alignment,
    flat_alignment,
    flattest_tuning,
    sbb4,
    super_c4,
)
from subwright.physics.acoustics.closed_box import compliance_ratio_for_q
from subwright.physics.acoustics.parameters import DriverModel, parallel_q, with_source_resistance
from subwright.physics.acoustics.vented_box import keele_fit, margolis_small_fit
from subwright.stages.enclosure_spec import AlignmentName, EnclosureSpec, Fill

__all__ = ["FILLS", "FillEffect", "Target", "qts_with_source", "sealed_target", "vented_target"]

_QTC = math.sqrt(0.5)
_LEAST_ALPHA = 0.35  # a sealed box larger than 2.9 Vas gains nothing worth its size


@dataclass(frozen=True, kw_only=True, slots=True)
class FillEffect:
    """What damping material does: acoustic enlargement and absorption Q."""

    gain: float
    qa: float


# Enlargement after small-1972-closed (1.15 to 1.25 for moderate fill, 1.4 the isothermal limit), absorption Q
# from memory of the same papers; a box's real value is measured.
FILLS: Mapping[Fill, FillEffect] = MappingProxyType(
    {
        "none": FillEffect(gain=1.0, qa=math.inf),
        "lining": FillEffect(gain=1.05, qa=50.0),
        "light": FillEffect(gain=1.15, qa=20.0),
        "dense": FillEffect(gain=1.25, qa=8.0),
    }
)


@dataclass(frozen=True, kw_only=True, slots=True)
class Target:
    """The box to aim for."""

    net_volume_m3: float
    tuning_hz: float | None
    family: str  # "B2", "QB3", "C4", "given", "flattest in the volume"
    limited_by_room: bool
    reasons: tuple[str, ...]


def qts_with_source(model: DriverModel, source_ohm: float) -> float:
    """Total Q of the driver behind a source resistance; dimensionless.

    Parameters
    ----------
    model : lumped elements.
    source_ohm : amplifier output and cable, Ω.

    Source
    ------
    [small-1972-direct]
    """
    return parallel_q(model.qms, with_source_resistance(model.qes, model.re_ohm, source_ohm))


def sealed_target(spec: EnclosureSpec, model: DriverModel, qts: float, room_m3: float) -> Target:
    """Net volume of a sealed box.

    Parameters
    ----------
    spec : the builder's wishes.
    model : driver group.
    qts : with source resistance.
    room_m3 : largest net volume that the room allows; infinity where not limited.

    Raises
    ------
    NoSolutionError : a Qtc or a volume that can't be had.

    Source
    ------
    [small-1972-closed]
    """
    gain = FILLS[spec.fill].gain
    vas = model.vas_m3()
    named = _sealed_q(spec)
    if named is not None:
        spec = spec.model_copy(update={"qtc": named})
    if spec.volume_m3 is not None:
        if spec.qtc is not None:
            raise NoSolutionError(
                message="Give enclosure.volume, or Qtc or an alignment, not both: each sets the other.",
                quantity="volume and Qtc",
                value=f"{show(spec.volume_m3, 'volume')}, {spec.qtc:.3g}",
                limit="one of them",
                remedy="Remove one of the two keys.",
            )
        _refuse_beyond_room(spec.volume_m3, room_m3)
        reason = f"Net volume {show(spec.volume_m3, 'volume')} as given."
        return Target(
            net_volume_m3=spec.volume_m3,
            tuning_hz=None,
            family="given",
            limited_by_room=False,
            reasons=(reason,),
        )
    if spec.qtc is not None:
        try:
            alpha = compliance_ratio_for_q(qts, spec.qtc)
        except RangeError as error:
            raise NoSolutionError(
                message=error.message,
                quantity=error.quantity,
                value=error.value,
                limit=error.limit,
                source=error.source,
                remedy=error.remedy,
            ) from None
        wanted, why = vas / (alpha * gain), f"for Qtc {spec.qtc:.3g} as asked"
        family = "B2" if abs(spec.qtc - _QTC) < 0.005 else "second order"
    elif qts * math.sqrt(1.0 + _LEAST_ALPHA) < _QTC:
        alpha = compliance_ratio_for_q(qts, _QTC)
        wanted, why, family = vas / (alpha * gain), "for Qtc 0.707, the flattest response", "B2"
    else:
        qtc = qts * math.sqrt(1.0 + _LEAST_ALPHA)
        wanted = vas / (_LEAST_ALPHA * gain)
        why = f"for Qtc {qtc:.2f}: Qts {qts:.2f} is too high for 0.707 in a box of sensible size"
        family = "second order"
    if wanted > room_m3:
        qtc = qts * math.sqrt(1.0 + vas / (room_m3 * gain))
        return Target(
            net_volume_m3=room_m3,
            tuning_hz=None,
            family="second order",
            limited_by_room=True,
            reasons=(
                f"{show(wanted, 'volume')} would be right {why}; the room leaves {show(room_m3, 'volume')}, "
                f"which gives Qtc {qtc:.2f}.",
            ),
        )
    return Target(
        net_volume_m3=wanted,
        tuning_hz=None,
        family=family,
        limited_by_room=False,
        reasons=(f"Net volume {show(wanted, 'volume')} {why}.",),
    )


def vented_target(spec: EnclosureSpec, model: DriverModel, qts: float, ql: float, room_m3: float) -> Target:
    """Net volume and tuning of a vented box.

    Parameters
    ----------
    spec : the builder's wishes.
    model : driver group.
    qts : with source resistance.
    ql : leakage Q.
    room_m3 : largest net volume that the room allows; infinity where not limited.

    Raises
    ------
    NoSolutionError : a volume that the room doesn't hold, or a driver that no alignment suits.

    Source
    ------
    [small-1973-vented]
    """
    gain = FILLS[spec.fill].gain
    vas, fs = model.vas_m3(), model.fs_hz
    named = spec.alignment != "auto"
    if named and (spec.volume_m3 is not None or spec.tuning_hz is not None):
        raise NoSolutionError(
            message="A named alignment sets volume and tuning; give one or the other.",
            quantity="enclosure.alignment",
            value=spec.alignment,
            limit='"auto" where enclosure.volume or enclosure.tuning is given',
            remedy="Remove enclosure.alignment, or the other two keys.",
        )
    try:
        alignment = _vented_alignment(spec, qts, ql)
    except RangeError as error:
        alignment = None
        problem = error
        if named:
            raise NoSolutionError(
                message=error.message,
                quantity=error.quantity,
                value=error.value,
                limit=error.limit,
                source=error.source,
                remedy='Choose another enclosure.alignment, or "auto".',
            ) from None
    reasons: list[str] = []
    limited = False
    if spec.volume_m3 is not None:
        _refuse_beyond_room(spec.volume_m3, room_m3)
        volume, family = spec.volume_m3, "given"
        reasons.append(f"Net volume {show(volume, 'volume')} as given.")
    elif alignment is not None:
        volume, family = vas / (alignment.alpha * gain), alignment.family
        reasons.append(
            f"Qts {qts:.3f} with source resistance and QL {ql:.3g} ask for the {family} alignment: "
            f"{show(volume, 'volume')} tuned to {show(alignment.h * fs, 'frequency')}."
        )
        if volume > room_m3:
            volume, family, limited = room_m3, "flattest in the volume", True
            reasons.append(f"The room leaves {show(room_m3, 'volume')}.")
    elif math.isfinite(room_m3):
        volume, family, limited = room_m3, "flattest in the volume", True
        reasons.append(
            f"No alignment suits Qts {qts:.3f}; the room's {show(room_m3, 'volume')} is used as it is."
        )
    else:
        raise NoSolutionError(
            message=problem.message,
            quantity=problem.quantity,
            value=problem.value,
            limit=problem.limit,
            source=problem.source,
            remedy=problem.remedy,
        )
    if spec.tuning_hz is not None:
        tuning = spec.tuning_hz
        reasons.append(f"Tuned to {show(tuning, 'frequency')} as given.")
    elif family in ("given", "flattest in the volume"):
        best = flattest_tuning(qts, vas / (volume * gain), ql, ripple_db=spec.ripple_db)
        tuning = best.h * fs
        reasons.append(
            f"Tuned to {show(tuning, 'frequency')}: the lowest reach in this volume with at most "
            f"{show(max(best.peak_db, spec.ripple_db), 'level')} of peak."
        )
    else:
        assert alignment is not None  # a family other than these two comes from an alignment
        tuning = alignment.h * fs
    return Target(
        net_volume_m3=volume,
        tuning_hz=tuning,
        family=family if spec.tuning_hz is None else "given",
        limited_by_room=limited,
        reasons=tuple(reasons),
    )


_SEALED_Q: Mapping[AlignmentName, float] = MappingProxyType(
    {"critical": 0.5, "bessel": 1.0 / math.sqrt(3.0), "butterworth": math.sqrt(0.5), "chebyshev": 1.0}
)
_VENTED: tuple[AlignmentName, ...] = ("flat", "sub-chebyshev", "boom-box", "keele", "margolis-small")


def _sealed_q(spec: EnclosureSpec) -> float | None:
    """Qtc of the named alignment, None where none is named."""
    if spec.alignment == "auto":
        return None
    if spec.alignment not in _SEALED_Q:
        raise _wrong_family(spec, tuple(_SEALED_Q))
    if spec.qtc is not None:
        raise NoSolutionError(
            message="Give enclosure.alignment or enclosure.qtc, not both.",
            quantity="alignment and Qtc",
            value=f"{spec.alignment}, {spec.qtc:.3g}",
            limit="one of them",
            remedy="Remove one of the two keys.",
        )
    return _SEALED_Q[spec.alignment]


def _vented_alignment(spec: EnclosureSpec, qts: float, ql: float) -> Alignment:
    """The named alignment for a driver; the fits are cut to it without their own idea of its response."""
    name = spec.alignment
    if name not in ("auto", *_VENTED):
        raise _wrong_family(spec, _VENTED)
    if name == "sub-chebyshev":
        return super_c4(qts, ql)
    if name == "boom-box":
        return sbb4(qts)
    if name in ("keele", "margolis-small"):
        fit = keele_fit(qts) if name == "keele" else margolis_small_fit(qts)
        return Alignment(
            family=f"{name} fit",
            qts=qts,
            alpha=1.0 / fit.volume_ratio,
            h=fit.tuning_ratio,
            f3_ratio=fit.f3_ratio,
            ql=ql,
        )
    return flat_alignment(qts, ql)


def _wrong_family(spec: EnclosureSpec, those: tuple[AlignmentName, ...]) -> NoSolutionError:
    return NoSolutionError(
        message=f"This alignment is not one of a {spec.kind} box.",
        quantity="enclosure.alignment",
        value=spec.alignment,
        limit=", ".join(("auto", *those)),
        source="small-1973-vented",
        remedy="Choose one of these, or change enclosure.kind.",
    )


def _refuse_beyond_room(volume_m3: float, room_m3: float) -> None:
    if volume_m3 > room_m3 * 1.0001:
        raise NoSolutionError(
            message="The room doesn't hold the volume asked for.",
            quantity="net volume",
            value=show(volume_m3, "volume"),
            limit=f"at most {show(room_m3, 'volume')} after panels, driver, port and electronics",
            remedy='Give more room, thinner panels, a smaller volume, or leave the volume "auto".',
        )
