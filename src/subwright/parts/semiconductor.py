"""Records of switches, rectifiers and small semiconductors."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Literal

from subwright.parts.record import Bounds, Record, Tolerance

__all__ = ["Insulator", "Mosfet", "Rectifier", "Transistor", "Zener"]


def _dissipation_problem(
    pd_w: float | None, rth_jc_k_per_w: float, tj_max_c: float
) -> Iterator[tuple[str, str]]:
    """The stated dissipation at 25 °C case must follow from the other two (JESD51 definition)."""
    if pd_w is None:
        return
    implied = (tj_max_c - 25.0) / rth_jc_k_per_w
    if not math.isclose(pd_w, implied, rel_tol=0.10):
        yield "pd_w", f"{pd_w:g} W, but (Tj max − 25 °C)/RthJC is {implied:.4g} W"


@dataclass(frozen=True, kw_only=True, slots=True)
class Mosfet(Record):
    """A power MOSFET. P-channel values are given as magnitudes.

    Attributes
    ----------
    channel : "n" or "p".
    package : "TO-220", "TO-247", "D2PAK" ...
    vds_v : drain-source breakdown rating.
    id_a : continuous drain current at 25 °C case, limited by the package where the sheet says so.
    rds_on_ohm : largest on resistance at 25 °C and 10 V gate.
    rds_hot_ratio : on resistance at 100 °C junction over that at 25 °C.
    vgs_max_v : gate-source rating. vgs_th_v : largest threshold voltage.
    qg_coul, qgs_coul, qgd_coul : total gate, gate-source and gate-drain charge at 10 V gate; largest where
        the sheet gives it, else typical.
    qrr_coul, trr_s : body diode's recovery charge and time at 25 °C, typical.
    coss_f : output capacitance at the sheet's drain voltage (25 V, newer parts 50 V).
    vsd_v : largest body diode drop. rg_ohm : internal gate resistance, None where not stated.
    rth_jc_k_per_w, rth_ja_k_per_w : junction to case, and to ambient with no heatsink.
    tj_max_c : junction limit. pd_w : dissipation at 25 °C case. eas_j : single-pulse avalanche energy.
    """

    channel: Literal["n", "p"]
    package: str
    vds_v: Annotated[float, Bounds(10, 1200)]
    id_a: Annotated[float, Bounds(0.1, 600)]
    rds_on_ohm: Annotated[float, Bounds(2e-4, 20)]
    rds_hot_ratio: Annotated[float, Bounds(1.05, 2.6)]
    vgs_max_v: Annotated[float, Bounds(8, 40)]
    vgs_th_v: Annotated[float, Bounds(0.5, 6)]
    qg_coul: Annotated[float, Bounds(5e-10, 2e-6)]
    qgs_coul: Annotated[float, Bounds(1e-10, 1e-6)]
    qgd_coul: Annotated[float, Bounds(1e-10, 1e-6)]
    qrr_coul: Annotated[float, Bounds(1e-9, 1e-4)]
    trr_s: Annotated[float, Bounds(5e-9, 2e-6)]
    coss_f: Annotated[float, Bounds(5e-12, 2e-8)]
    vsd_v: Annotated[float, Bounds(0.4, 6)]
    rg_ohm: Annotated[float | None, Bounds(0.1, 50)] = None
    rth_jc_k_per_w: Annotated[float, Bounds(0.1, 100)]
    rth_ja_k_per_w: Annotated[float, Bounds(20, 400)] = 62.0
    tj_max_c: Annotated[float, Bounds(100, 200)] = 175.0
    pd_w: Annotated[float | None, Bounds(0.1, 1500)] = None
    eas_j: Annotated[float | None, Bounds(1e-4, 10)] = None

    def summary(self) -> str:
        """One line made from the values."""
        rds = self.rds_on_ohm * 1e3
        return f"{self.channel.upper()}-channel MOSFET {self.vds_v:g} V {rds:.3g} mΩ {self.package}"

    def problems(self) -> Iterator[tuple[str, str]]:
        """Yield contradictions between the values."""
        if self.qgs_coul + self.qgd_coul >= self.qg_coul * 1.02:
            yield "qg_coul", "below the sum of gate-source and gate-drain charge"
        yield from _dissipation_problem(self.pd_w, self.rth_jc_k_per_w, self.tj_max_c)


@dataclass(frozen=True, kw_only=True, slots=True)
class Rectifier(Record):
    """A power rectifier, single or dual.

    Attributes
    ----------
    technology : "schottky", "fast" or "ultrafast".
    package : case. legs : diodes in the case. common : which terminal the legs share.
    vrrm_v : repetitive reverse rating.
    if_a : average forward current of one leg.
    vf0_v, rd_ohm : drop of one leg at 100 °C junction, v = vf0 + rd i.
    trr_s, qrr_coul : recovery (0 charge for Schottky, which has only capacitance).
    cj_f : junction capacitance of one leg (Schottky), None where not stated.
    ifsm_a : single half-sine surge of one leg.
    rth_jc_k_per_w : of one leg. tj_max_c : junction limit.
    """

    technology: Literal["schottky", "fast", "ultrafast"]
    package: str
    legs: Annotated[int, Bounds(1, 2)]
    common: Literal["cathode", "anode", "none"]
    vrrm_v: Annotated[float, Bounds(10, 1600)]
    if_a: Annotated[float, Bounds(0.1, 300)]
    vf0_v: Annotated[float, Bounds(0.1, 2)]
    rd_ohm: Annotated[float, Bounds(2e-4, 1)]
    trr_s: Annotated[float, Bounds(0, 2e-6)] = 0.0
    qrr_coul: Annotated[float, Bounds(0, 1e-5)] = 0.0
    cj_f: Annotated[float | None, Bounds(1e-12, 1e-8)] = None
    ifsm_a: Annotated[float, Bounds(5, 5000)]
    rth_jc_k_per_w: Annotated[float, Bounds(0.1, 60)]
    tj_max_c: Annotated[float, Bounds(100, 200)]

    def drop_v(self, current_a: float) -> float:
        """Forward drop in V of one leg at 100 °C and current in A."""
        return self.vf0_v + self.rd_ohm * current_a

    def summary(self) -> str:
        """One line made from the values."""
        count = "" if self.legs == 1 else f"{self.legs} × "
        shared = "" if self.common == "none" else f", common {self.common}"
        return f"{self.technology} rectifier {count}{self.if_a:g} A {self.vrrm_v:g} V {self.package}{shared}"

    def problems(self) -> Iterator[tuple[str, str]]:
        """Yield contradictions between the values."""
        if self.legs == 1 and self.common != "none":
            yield "common", "a single diode has no common terminal"
        if self.ifsm_a < 2 * self.if_a:
            yield "ifsm_a", "surge rating is below twice the average rating"
        if self.technology == "schottky" and self.qrr_coul > 0:
            yield "qrr_coul", "a Schottky diode has no recovery charge; give cj instead"
        if self.technology != "schottky" and (self.trr_s <= 0 or self.qrr_coul <= 0):
            yield "trr_s", "a junction rectifier needs its recovery time and charge"


@dataclass(frozen=True, kw_only=True, slots=True)
class Transistor(Record):
    """A small-signal or driver bipolar transistor; PNP values are given as magnitudes.

    Attributes
    ----------
    polarity : "npn" or "pnp".
    vceo_v, ic_a : ratings. hfe_min : smallest gain at hfe_ic_a. vce_sat_v : largest at the sheet's current.
    ft_hz : transition frequency. pd_w : at 25 °C ambient. tj_max_c : junction limit.
    """

    polarity: Literal["npn", "pnp"]
    package: str
    vceo_v: Annotated[float, Bounds(5, 600)]
    ic_a: Annotated[float, Bounds(0.01, 30)]
    hfe_min: Annotated[float, Bounds(5, 2000)]
    hfe_ic_a: Annotated[float, Bounds(1e-5, 20)]
    vce_sat_v: Annotated[float, Bounds(0.02, 3)]
    ft_hz: Annotated[float, Bounds(1e5, 1e10)]
    pd_w: Annotated[float, Bounds(0.1, 200)]
    tj_max_c: Annotated[float, Bounds(100, 200)] = 150.0

    def summary(self) -> str:
        """One line made from the values."""
        return f"{self.polarity.upper()} transistor {self.vceo_v:g} V {self.ic_a:g} A {self.package}"


@dataclass(frozen=True, kw_only=True, slots=True)
class Zener(Record):
    """A voltage-regulator diode.

    Attributes
    ----------
    vz_v : nominal voltage at iz_test_a. tolerance : relative. rz_ohm : largest dynamic resistance there.
    power_w : rating at 25 °C lead or ambient. tempco_per_k : relative drift per kelvin.
    """

    vz_v: Annotated[float, Bounds(1.8, 200)]
    tolerance: Tolerance
    iz_test_a: Annotated[float, Bounds(1e-5, 1)]
    rz_ohm: Annotated[float, Bounds(0.1, 2000)]
    power_w: Annotated[float, Bounds(0.1, 50)]
    tempco_per_k: Annotated[float, Bounds(-2e-3, 2e-3)]
    package: str

    def summary(self) -> str:
        """One line made from the values."""
        return f"voltage-regulator diode {self.vz_v:g} V {self.power_w:g} W {self.package}"


@dataclass(frozen=True, kw_only=True, slots=True)
class Insulator(Record):
    """An insulating pad between a case and its heatsink.

    Attributes
    ----------
    package : case that it fits. rth_k_per_w : case to heatsink, screwed or clipped with the usual force.
    thickness_m : pad. breakdown_v : rating.
    """

    package: str
    rth_k_per_w: Annotated[float, Bounds(0.01, 10)]
    thickness_m: Annotated[float, Bounds(1e-5, 5e-3)]
    breakdown_v: Annotated[float, Bounds(0, 20_000)]

    def summary(self) -> str:
        """One line made from the values."""
        return f"insulating pad {self.package}, {self.rth_k_per_w:g} K/W"
