"""From the loudspeaker's terminals to the ear: how far the cone moves, how loud and how quiet it gets."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from subwright.physics.networks.levels import db
from subwright.physics.networks.noise import integrated_noise_v

__all__ = ["AirChain", "AirNode", "air_nodes", "noise_grid"]

Array = NDArray[np.float64]

_REFERENCE_PA: Final = 20e-6
_NOISE_STEP: Final = 5  # every so many points of the box's grid are enough for the noise


@dataclass(frozen=True, kw_only=True, slots=True)
class AirChain:
    """What driver, box and room make of a voltage, on one grid of frequencies.

    Attributes
    ----------
    frequency_hz : Hz, shape (n,). drive_v : rms at the amplifier's ideal source at full output, V.
    excursion_m, velocity_m_per_s, pressure_pa : moduli with 1 V there; pressure at 1 m into half space.
    cabin_db : what the vehicle adds at the ears, dB; None in the open.
    xmax_m : linear displacement of the cone, one way, m.
    noise_v_per_rthz : at the amplifier's input, level control at its top, V/√Hz, at every fifth point.
    full_input_v : rms at the amplifier's input for full output, V.
    low_hz, high_hz : band that is played.
    """

    frequency_hz: Array
    drive_v: float
    excursion_m: Array
    velocity_m_per_s: Array
    pressure_pa: Array
    cabin_db: Array | None
    xmax_m: float
    noise_v_per_rthz: Array
    full_input_v: float
    low_hz: float
    high_hz: float

    @property
    def noise_hz(self) -> Array:
        """Grid of the noise, Hz."""
        return noise_grid(self.frequency_hz)


def noise_grid(frequency_hz: Array) -> Array:
    """The points of a grid at which noise is wanted, Hz; both ends are among them."""
    picked = frequency_hz[::_NOISE_STEP]
    return picked if picked[-1] == frequency_hz[-1] else np.append(picked, frequency_hz[-1])


@dataclass(frozen=True, kw_only=True, slots=True)
class AirNode:
    """One place behind the terminals at full output.

    Attributes
    ----------
    name : "cone displacement". unit : "m", "m/s" or "Pa".
    level : rms in the middle of the band. at_hz : that frequency. peak : highest peak over the band, and
    peak_hz : where. limit : peak that it may reach; None where nothing limits it.
    noise : rms of the line filter's own noise, 10 to 500 Hz.
    """

    name: str
    unit: Literal["m", "m/s", "Pa"]
    level: float
    at_hz: float
    peak: float
    peak_hz: float
    limit: float | None
    noise: float

    @property
    def headroom_db(self) -> float | None:
        """Room between the highest peak and its limit, dB; None without a limit."""
        return None if self.limit is None else float(db(self.limit / self.peak))

    @property
    def over_noise_db(self) -> float:
        """Level over the noise, dB."""
        return float(db(self.level / self.noise))

    @property
    def level_db(self) -> float:
        """Sound pressure level, dB re 20 µPa; of a pressure only."""
        return float(db(self.level / _REFERENCE_PA))

    @property
    def noise_db(self) -> float:
        """Sound pressure level of the noise, dB re 20 µPa; of a pressure only."""
        return float(db(self.noise / _REFERENCE_PA))


def air_nodes(chain: AirChain, shape_db: Array) -> tuple[AirNode, ...]:
    """Nodes from the cone to the ear.

    Parameters
    ----------
    chain : driver, box and room. shape_db : the line filter's gain relative to its own highest, dB, on the
        chain's grid.

    Returns
    -------
    Displacement, velocity, pressure at 1 m, and at the ears in a vehicle.

    Source
    ------
    Each transfer times the drive; noise by its density through the same transfer. [derived]
    """
    f = chain.frequency_hz
    shape = 10.0 ** (shape_db / 20.0)
    middle = int(np.argmin(np.abs(np.log(f) - 0.5 * np.log(chain.low_hz * chain.high_hz))))
    at_noise = np.searchsorted(f, chain.noise_hz)
    to_source = (chain.drive_v / chain.full_input_v) ** 2

    def node(
        name: str, unit: Literal["m", "m/s", "Pa"], per_volt: Array, limit: float | None = None
    ) -> AirNode:
        driven = chain.drive_v * shape * per_volt
        top = int(np.argmax(driven))
        density = chain.noise_v_per_rthz**2 * to_source * per_volt[at_noise] ** 2
        return AirNode(
            name=name,
            unit=unit,
            level=float(driven[middle]),
            at_hz=float(f[middle]),
            peak=2.0**0.5 * float(driven[top]),
            peak_hz=float(f[top]),
            limit=limit,
            noise=integrated_noise_v(density, chain.noise_hz),
        )

    nodes = [
        node("cone displacement", "m", chain.excursion_m, chain.xmax_m),
        node("cone velocity", "m/s", chain.velocity_m_per_s),
        node("sound at 1 m", "Pa", chain.pressure_pa),
    ]
    if chain.cabin_db is not None:
        nodes.append(node("sound at the ears", "Pa", chain.pressure_pa * 10.0 ** (chain.cabin_db / 20.0)))
    return tuple(nodes)
