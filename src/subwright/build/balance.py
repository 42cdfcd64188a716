"""The proof that no watt is lost, and the curves across battery and load."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from subwright.build.chain import find_clipping, solve_chain, solve_waveforms
from subwright.build.chain_model import LoadPoint
from subwright.build.electrical import PLAYING, Electrical
from subwright.build.result import EnergyBalance, OperatingPoint, Sweeps
from subwright.build.waveform import silence, sine
from subwright.stages.common import Corner, Level
from subwright.stages.enclosure import EnclosureResult

__all__ = ["energy_balance", "operating_points", "sweeps"]

Array = NDArray[np.float64]

_LIMIT: Final = 1e-3
_SWEEP_POINTS: Final = 25
_LOAD_POINTS: Final = 16


def operating_points(electrical: Electrical) -> tuple[OperatingPoint, ...]:
    """Operating points of every playing corner and level, into the rated load."""
    points = []
    for k, corner in enumerate(PLAYING):
        for level, at in electrical.chain.items():
            points.append(
                OperatingPoint(
                    corner=corner,
                    level=level,
                    emf_v=float(at.emf_v[k]),
                    terminal_v=float(at.terminal_v[k]),
                    terminal_least_v=float(at.terminal_least_v[k]),
                    battery_a=float(at.battery_a[k]),
                    battery_rms_a=float(at.battery_rms_a[k]),
                    battery_peak_a=float(at.battery_peak_a[k]),
                    battery_w=float(at.battery_w[k]),
                    rail_crest_v=float(at.rail_crest_v[k]),
                    rail_mean_v=float(at.rail_mean_v[k]),
                    rail_a=float(at.rail_a[k]),
                    rail_peak_a=float(at.rail_peak_a[k]),
                    output_peak_v=float(at.peak_v[k]),
                    output_w=float(at.output_w[k]),
                    efficiency=float(at.output_w[k] / at.battery_w[k]),
                    primary_rms_a=float(at.primary_rms_a[k]),
                    primary_peak_a=float(at.primary_peak_a[k]),
                    secondary_rms_a=float(at.secondary_rms_a[k]),
                    diode_a=float(at.diode_a[k]),
                    input_ripple_a=float(at.input_ripple_a[k]),
                    reservoir_ripple_a=float(at.reservoir_ripple_a[k]),
                    losses_w={name: float(watts[k]) for name, watts in at.losses_w.items()},
                )
            )
    return tuple(points)


def energy_balance(electrical: Electrical, enclosure: EnclosureResult) -> EnergyBalance:
    """Follow a full sine from the battery's EMF to the air, with the real driver in its box.

    The frequency is where the driver takes the most real power between its resonance in the box and the
    corner of the low-pass: the hardest case for the electronics. Electrical losses come from the chain,
    acoustic ones from the driver's equivalent circuit; that the two meet at the driver's terminals is what
    the balance tests.

    Parameters
    ----------
    electrical : the settled electrical design. enclosure : the box as built.

    Returns
    -------
    EnergyBalance at the nominal corner.

    Source
    ------
    First law of thermodynamics. [derived]
    """
    grid = enclosure.frequency_hz
    admittance = 1.0 / enclosure.impedance_ohm
    index = _hardest(enclosure, admittance.real)
    frequency = float(grid[index])
    impedance = complex(enclosure.impedance_ohm[index])
    load = LoadPoint(conductance_s=float(admittance[index].real), susceptance_s=float(admittance[index].imag))
    emf = np.array([electrical.supply.corners[Corner.NOMINAL]])
    source, stage, model = electrical.source, electrical.amplifier, electrical.model
    peak = find_clipping(emf, load, source, stage, model)
    point = solve_chain(emf, peak, sine(), load, source, stage, model)

    terminal_v = float(peak[0]) / np.sqrt(2.0)
    drive_v = terminal_v * abs(impedance + enclosure.source_ohm) / abs(impedance)
    shares = enclosure.power_shares(frequency, drive_v)
    acoustic = (
        ("voice coil", shares.coil_w),
        ("eddy currents in the motor", shares.eddy_w),
        ("suspension", shares.suspension_w),
        ("box leakage", shares.leakage_w),
        ("box absorption", shares.absorption_w),
        ("port friction", shares.port_w),
    )
    radiated = float(shares.radiated_w[0])
    entries = [(name, float(watts[0])) for name, watts in point.losses_w.items()]
    entries += [(name, float(watts[0])) for name, watts in acoustic]
    entries.append(("sound", radiated))
    entries = [(name, watts) for name, watts in entries if watts != 0.0]
    battery = float(point.battery_w[0])
    explained = sum(watts for _, watts in entries)
    return EnergyBalance(
        frequency_hz=frequency,
        corner=Corner.NOMINAL,
        battery_w=battery,
        entries=tuple(entries),
        radiated_w=radiated,
        imbalance=(battery - explained) / battery,
        limit=_LIMIT,
        residual=electrical.residual,
    )


def _hardest(enclosure: EnclosureResult, conductance_s: Array) -> int:
    """Where in the playing band a box takes the most real power: index on its frequency grid."""
    grid = enclosure.frequency_hz
    playing = (grid >= enclosure.lowest_note_hz) & (grid <= enclosure.upper_hz)
    above = playing & (grid >= (enclosure.tuning_hz or enclosure.fc_hz))
    return int(np.argmax(np.where(above if above.any() else playing, conductance_s, -np.inf)))


def sweeps(electrical: Electrical) -> Sweeps:
    """Curves from the lowest playing to the highest battery voltage, and over the load at nominal battery.

    Parameters
    ----------
    electrical : the settled electrical design.

    Returns
    -------
    Sweeps : arrays of 25 battery voltages and 16 load powers.
    """
    corners, source = electrical.supply.corners, electrical.source
    stage, model = electrical.amplifier, electrical.model
    load = LoadPoint(conductance_s=1.0 / stage.load_ohm)
    emf = np.linspace(corners[Corner.LOW], corners[Corner.MAX], _SWEEP_POINTS)
    clipping = find_clipping(emf, load, source, stage, model)
    nominal = electrical.chain[Level.FULL].peak_v[PLAYING.index(Corner.NOMINAL)]
    part = float(nominal) * np.sqrt(np.linspace(0.02, 1.0, _LOAD_POINTS))

    # One solution for both: first every battery voltage at clipping, then every load at nominal battery.
    batteries = np.append(emf, np.full(_LOAD_POINTS, corners[Corner.NOMINAL]))
    peaks, waves = np.append(clipping, part), (sine(16), silence())
    full, idle = solve_waveforms(batteries, peaks, waves, load, source, stage, model).points
    efficiency = full.output_w / full.battery_w
    over_battery, over_load = slice(None, _SWEEP_POINTS), slice(_SWEEP_POINTS, None)
    return Sweeps(
        battery_v=emf,
        clip_w=full.output_w[over_battery],
        efficiency=efficiency[over_battery],
        battery_a=full.battery_a[over_battery],
        rail_full_v=full.rail_crest_v[over_battery],
        rail_idle_v=idle.rail_crest_v[over_battery],
        load_w=full.output_w[over_load],
        load_rail_v=full.rail_crest_v[over_load],
        load_efficiency=efficiency[over_load],
    )
