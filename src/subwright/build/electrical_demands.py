"""What the electrical rounds ask of supply, wiring and heatsink, out of the chain as solved."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from subwright.build.chain_model import ChainPoint
from subwright.build.spec import BuildSpec
from subwright.build.waveform import Waveform
from subwright.parts.library import Library
from subwright.physics.thermal import TO220_INTERFACE_K_PER_W, ThermalDevice
from subwright.stages.amplifier import AmplifierResult
from subwright.stages.common import Corner, Level
from subwright.stages.converter import ConverterResult
from subwright.stages.heat import HeatDemand
from subwright.stages.supply import SupplyDemand, SupplyResult
from subwright.stages.wiring import ConductorNeed, WiringDemand

__all__ = [
    "NOMINAL",
    "PLAYING",
    "RECTIFIER",
    "SWITCH",
    "Job",
    "device_on_sink",
    "heat_demand",
    "supply_demand",
    "wiring_demand",
]

Array = NDArray[np.float64]

PLAYING: Final = (Corner.LOW, Corner.NOMINAL, Corner.CHARGING, Corner.MAX)
"""Corners at which it plays; at the cranking corner it is held off."""

NOMINAL: Final = PLAYING.index(Corner.NOMINAL)
SWITCH: Final = "converter switch"
RECTIFIER: Final = "rail rectifier"


@dataclass(frozen=True, kw_only=True, slots=True)
class Job:
    """What all rounds share: the build, its battery at every corner, and the signals of the levels."""

    spec: BuildSpec
    target_w: float
    load_ohm: float
    lead_ohm: float  # switch and shunt in series with the load, beside the cable
    corners: Mapping[Corner, float]
    waves: Mapping[Level, Waveform]
    library: Library
    within_ohm: float = 0.0  # reverse-polarity switch and shunt, in the battery's path
    least_switch_v: float = 0.0  # rating of the amplifier's switches, where the choice is free

    @property
    def emf_v(self) -> Array:
        """Battery voltages at the playing corners, V."""
        return np.array([self.corners[corner] for corner in PLAYING])


def supply_demand(chain: Mapping[Level, ChainPoint]) -> SupplyDemand:
    """Battery currents for cable, fuse and running time."""
    full = chain[Level.FULL]
    return SupplyDemand(
        average_a=float(full.battery_a[NOMINAL]),
        rms_a=float(full.battery_rms_a[NOMINAL]),
        peak_a=float(full.battery_peak_a[NOMINAL]),
        programme_average_a=float(chain[Level.PROGRAMME].battery_a[NOMINAL]),
        worst_average_a=float(full.battery_a.max()),
        idle_a=float(chain[Level.IDLE].battery_a[NOMINAL]),
        corner_average_a={corner: float(full.battery_a[k]) for k, corner in enumerate(PLAYING)},
    )


def _conductors(
    converter: ConverterResult | None, chain: Mapping[Level, ChainPoint]
) -> tuple[ConductorNeed, ...]:
    """The conductors of the power path with their currents at nominal battery."""
    full, heard, idle = chain[Level.FULL], chain[Level.PROGRAMME], chain[Level.IDLE]
    k = NOMINAL

    def need(name: str, field: str, peak_a: float, voltage_v: float, count: int = 1) -> ConductorNeed:
        return ConductorNeed(
            name=name,
            rms_a=float(getattr(full, field)[k]),
            peak_a=peak_a,
            programme_rms_a=float(getattr(heard, field)[k]),
            idle_rms_a=float(getattr(idle, field)[k]),
            voltage_v=voltage_v,
            count=count,
        )

    highest = float(full.emf_v.max())
    battery = need("battery input", "battery_rms_a", float(full.battery_peak_a[k]), highest, 2)
    if converter is None:
        return (battery,)
    return (
        battery,
        need(
            "half-primary and switch",
            "primary_rms_a",
            float(full.primary_peak_a[k]),
            converter.drain_peak_v,
            2,
        ),
        need(
            "half-secondary and rectifier",
            "secondary_rms_a",
            float(full.primary_peak_a[k]) / converter.ratio,
            2.0 * converter.rail_unloaded_v,
            2,
        ),
        need(
            "rail",
            "rail_a",
            float(full.rail_peak_a[k]),
            converter.rail_unloaded_v,
            2,
        ),
    )


def wiring_demand(
    spec: BuildSpec,
    amplifier: AmplifierResult,
    converter: ConverterResult | None,
    supply: SupplyResult,
    chain: Mapping[Level, ChainPoint],
) -> WiringDemand:
    """Currents of every conductor, and the room it has to get rid of its heat."""
    full, heard = chain[Level.FULL], chain[Level.PROGRAMME]
    return WiringDemand(
        conductors=_conductors(converter, chain),
        speaker_rms_a=sqrt(float(full.output_w[NOMINAL]) / amplifier.load_ohm),
        speaker_peak_a=float(full.peak_v[NOMINAL]) / amplifier.load_ohm,
        speaker_programme_rms_a=sqrt(float(heard.output_w[NOMINAL]) / amplifier.load_ohm),
        load_ohm=amplifier.load_ohm,
        ambient_c=spec.supply.ambient_max_c + spec.heat.air_rise_k,
        fuse_a=supply.fuse_a,
        fuse_distance_m=supply.fuse_distance_m,
        fuse_distance_sheathed_m=supply.fuse_distance_sheathed_m,
    )


def heat_demand(
    spec: BuildSpec,
    amplifier: AmplifierResult,
    converter: ConverterResult | None,
    chain: Mapping[Level, ChainPoint],
    library: Library,
) -> HeatDemand:
    """Everything that is screwed to the heatsink."""
    devices = amplifier.devices
    if converter is not None:
        devices = (*devices, *_converter_devices(converter, chain, library))
    return HeatDemand(
        devices=devices, ambient_c=spec.supply.ambient_max_c, trip_c=spec.protection.thermal_trip_c
    )


def device_on_sink(
    name: str,
    names: tuple[str, ...],
    chain: Mapping[Level, ChainPoint],
    library: Library,
    *,
    count: int,
    rth_jc_k_per_w: float,
    package: str,
    tj_max_c: float,
) -> ThermalDevice:
    """One kind of device as a heat source, worst over the playing corners.

    Parameters
    ----------
    name : of the device. names : of its losses. chain, library : as solved. count : cases.
    rth_jc_k_per_w, package, tj_max_c : of one case.
    """

    def watts(level: Level) -> Array:
        return np.asarray(sum(chain[level].losses_w[part] for part in names)) / count

    fitting = [pad.rth_k_per_w for pad in library.insulators.values() if pad.package == package]
    full = watts(Level.FULL)
    return ThermalDevice(
        name=name,
        count=count,
        idle_w=float(watts(Level.IDLE)[NOMINAL]),
        programme_w=float(watts(Level.PROGRAMME)[NOMINAL]),
        full_w=float(full[NOMINAL]),
        worst_w=float(full.max()),
        rth_jc_k_per_w=rth_jc_k_per_w,
        interface_k_per_w=min(fitting, default=TO220_INTERFACE_K_PER_W["mica"][1]),
        tj_max_c=tj_max_c,
    )


def _converter_devices(
    converter: ConverterResult, chain: Mapping[Level, ChainPoint], library: Library
) -> tuple[ThermalDevice, ...]:
    """Switches and rectifiers as heat sources, one case each; worst over the playing corners."""
    mosfet, diode = converter.plan.switch.mosfet, converter.plan.rectifier.rectifier

    def device(
        name: str, names: tuple[str, ...], count: int, rth_jc: float, package: str, tj_max_c: float
    ) -> ThermalDevice:
        return device_on_sink(
            name,
            names,
            chain,
            library,
            count=count,
            rth_jc_k_per_w=rth_jc,
            package=package,
            tj_max_c=tj_max_c,
        )

    return (
        device(
            SWITCH,
            ("switch conduction", "switch turn-off")
            if converter.clamp
            else ("switch conduction", "switch turn-off", "leakage clamp"),
            converter.switch_count,
            mosfet.rth_jc_k_per_w,
            mosfet.package,
            mosfet.tj_max_c,
        ),
        device(
            RECTIFIER,
            ("rectifier", "rectifier recovery"),
            converter.plan.rectifier.packages,
            diode.rth_jc_k_per_w / diode.legs,
            diode.package,
            diode.tj_max_c,
        ),
    )
