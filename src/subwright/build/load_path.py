"""What stands in series with the load beside its cable: the speaker switch and the amplifier's shunt.

Both are chosen by figures of the finished design, and both take a little of its power. So they are chosen on
expected figures first, counted, and chosen anew on the settled ones; only where that gives another part is
the design settled again.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from math import sqrt
from typing import Final

from subwright.build.electrical import Electrical
from subwright.build.electrical_boost import expected_rail
from subwright.build.spec import BuildSpec
from subwright.parts.library import Library
from subwright.physics.transients import CLAMPED_DUMP_V
from subwright.stages.amplifier import AmplifierResult
from subwright.stages.amplifier_choice import ExpectedAmplifier, expect_amplifier
from subwright.stages.common import Corner, Level
from subwright.stages.driver import DriverResult
from subwright.stages.protection_current import plan_shunt_ohm
from subwright.stages.speaker_guard import SpeakerGuardInput, choose_speaker_switch
from subwright.stages.speaker_guard_records import SpeakerRelay, SpeakerSwitch
from subwright.stages.supply import supply_corners
from subwright.stages.wiring import choose_speaker_cable

__all__ = ["LoadPath", "plan_load_path", "settled_load_path", "speaker_data"]

_EXPECTED_OHM: Final = 0.01  # of the speaker's switch, before one is chosen
_EXPECTED_SAG: Final = 0.05  # of the nominal battery at full sine, before anything is designed


@dataclass(frozen=True, kw_only=True, slots=True)
class LoadPath:
    """Speaker switch (None: none) and shunt, Ω (None: none), in series with the load."""

    switch: SpeakerRelay | SpeakerSwitch | None
    shunt_ohm: float | None

    @property
    def resistance_ohm(self) -> float:
        """Both together, Ω."""
        return (self.switch.resistance_ohm if self.switch else 0.0) + (self.shunt_ohm or 0.0)

    def same_parts(self, other: LoadPath) -> bool:
        """Whether the other path is made of the same parts."""
        return self._parts() == other._parts()

    def _parts(self) -> tuple[str, int, float | None]:
        if isinstance(self.switch, SpeakerRelay):
            return self.switch.relay, 1, self.shunt_ohm
        if self.switch is not None:
            return self.switch.mosfet, self.switch.per_side, self.shunt_ohm
        return "", 0, self.shunt_ohm


def plan_load_path(
    spec: BuildSpec, target_w: float, load_ohm: float, driver: DriverResult, library: Library
) -> LoadPath:
    """Switch and shunt on expected figures.

    Parameters
    ----------
    spec : the build. target_w : power asked for, W. load_ohm : the driver group, Ω.
    driver : the completed driver. library : parts with the drawer merged.

    Raises
    ------
    NoSolutionError : no switch or shunt serves.
    """
    if spec.speaker_guard.switch == "none" and spec.protection.amplifier_current != "shunt":
        return LoadPath(switch=None, shunt_ohm=None)
    amplifier = _expected(
        _Question(
            parts=(
                spec.amplifier,
                spec.supply,
                spec.wiring,
                spec.goal,
                spec.converter.topology,
                spec.speaker_guard.switch,
            ),
            target_w=target_w,
            load_ohm=load_ohm,
            library=library,
            spec=spec,
        )
    )
    corners, _ = supply_corners(spec.supply)
    regulated = spec.converter.output == "regulated" and not amplifier.from_battery
    regulated = regulated or amplifier.rails == "raised"
    swell = 1.0 if regulated else corners[Corner.MAX] / corners[Corner.NOMINAL]
    peak_v = swell * sqrt(2.0 * target_w * amplifier.load_ohm)
    data = speaker_data(
        spec, amplifier, driver, corners, peak_v, sag_v=_EXPECTED_SAG * corners[Corner.NOMINAL]
    )
    return _chosen(spec, amplifier, data, library)


def settled_load_path(
    spec: BuildSpec, electrical: Electrical, driver: DriverResult, library: Library
) -> LoadPath:
    """Switch and shunt on the settled figures; arguments as :func:`plan_load_path`."""
    full = electrical.chain[Level.FULL]
    data = speaker_data(
        spec,
        electrical.amplifier,
        driver,
        electrical.supply.corners,
        float(full.peak_v.max()),
        sag_v=electrical.source.total_ohm * float(full.battery_a.max()),
    )
    return _chosen(spec, electrical.amplifier, data, library)


def speaker_data(
    spec: BuildSpec,
    amplifier: AmplifierResult | ExpectedAmplifier,
    driver: DriverResult,
    corners: Mapping[Corner, float],
    peak_v: float,
    sag_v: float,
    coil_start_c: float | None = None,
) -> SpeakerGuardInput:
    """What the loudspeaker's protection must know.

    Parameters
    ----------
    spec, amplifier, driver : of the build. corners : battery at rest, V. peak_v : highest output, V.
    sag_v : lost on the way at full sine, V. coil_start_c : coil with programme, °C; None: the hottest air.
    """
    stuck_v = amplifier.stuck_a * amplifier.load_ohm
    return SpeakerGuardInput(
        stuck_v=stuck_v,
        stuck_a=stuck_v / driver.re_ohm,  # direct current knows the coil's copper, not its rated impedance
        stuck_w=stuck_v**2 / driver.re_ohm,
        peak_v=peak_v,
        rms_a=peak_v / sqrt(2.0) / amplifier.load_ohm,
        lowest_note_hz=spec.goal.lowest_note_hz,
        power_w=driver.power_w,
        re_ohm=driver.re_ohm,
        le_h=driver.le_h,
        coil_j_per_k=None if driver.thermal is None else driver.thermal.coil_j_per_k,
        coil_start_c=spec.supply.ambient_max_c if coil_start_c is None else coil_start_c,
        coil_max_c=driver.coil_max_c,
        corners=corners,
        sag_v=sag_v,
        ambient_c=spec.supply.ambient_max_c,
        highest_v=CLAMPED_DUMP_V.get(spec.supply.system_v, 0.0),
        floating=amplifier.from_battery or amplifier.kind == "class_d_full_bridge",
        outputs_v=_outputs_v(amplifier, corners),
    )


def _outputs_v(amplifier: AmplifierResult | ExpectedAmplifier, corners: Mapping[Corner, float]) -> float:
    """Supply between whose ends a bridge's outputs rest, V; 0 where they swing about ground."""
    if not amplifier.from_battery:
        return 0.0
    return amplifier.rail_expected_v if amplifier.rails == "raised" else corners[Corner.MAX]


def _chosen(
    spec: BuildSpec,
    amplifier: AmplifierResult | ExpectedAmplifier,
    data: SpeakerGuardInput,
    library: Library,
) -> LoadPath:
    shunt: float | None = None
    if spec.protection.amplifier_current == "shunt":
        wanted = spec.protection.amplifier_current_trip_a or 1.5 * amplifier.peak_least_a
        shunt = plan_shunt_ohm(wanted, amplifier.peak_a / sqrt(2.0))
    return LoadPath(switch=choose_speaker_switch(spec.speaker_guard, data, library), shunt_ohm=shunt)


@dataclass(frozen=True, slots=True)
class _Question:
    """All that the expected amplifier depends on; the whole spec takes no part in comparison."""

    parts: tuple[object, ...]
    target_w: float
    load_ohm: float
    library: Library
    spec: BuildSpec = field(compare=False)


@lru_cache(maxsize=32)
def _expected(question: _Question) -> ExpectedAmplifier:
    """The amplifier as it would be with its cable and a usual switch in series with the load."""
    spec, load = question.spec, question.load_ohm
    cable = choose_speaker_cable(spec.wiring, load, sqrt(question.target_w / load))
    switch_ohm = 0.0 if spec.speaker_guard.switch == "none" else _EXPECTED_OHM
    return expect_amplifier(
        spec.amplifier,
        question.target_w,
        load,
        supply_corners(spec.supply)[0],
        question.library,
        lowest_note_hz=spec.goal.lowest_note_hz,
        speaker_cable_ohm=cable.resistance_ohm + switch_ohm,
        raised=expected_rail(spec, question.target_w, load),
        rails_held=spec.converter.output == "regulated",
    )
