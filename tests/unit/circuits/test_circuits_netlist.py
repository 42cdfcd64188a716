"""The netlist model: what it refuses, how it numbers, what it says to buy."""

from __future__ import annotations

from dataclasses import replace

import pytest

from subwright.base.errors import SubwrightError
from subwright.circuits.models import JunctionModel, SwitchModel
from subwright.circuits.netlist import (
    IEEE_315_LETTERS,
    PINS,
    Circuit,
    Coupling,
    Numbering,
    Part,
    Ramp,
    Steady,
    TestPoint,
)


def resistor(name: str, a: str, b: str, **changes: object) -> Part:
    part = Part(
        designator=name, kind="resistor", nets=(a, b), value=1e3, role=f"role of {name}", part_id="1k"
    )
    return replace(part, **changes)


SOURCE = Part(
    designator="BENCH_SOURCE",
    kind="voltage source",
    nets=("in", "0"),
    value=Steady(value=1.0),
    standing="bench",
)
DIVIDER = (SOURCE, resistor("R1", "in", "out"), resistor("R2", "out", "0"))
DIODE = Part(designator="D1", kind="diode", nets=("out", "0"), model="SMALL", role="diode", part_id="1N4148")
SWITCH = SwitchModel(name="SMALL", on_ohm=1.0, off_ohm=1e6, threshold_v=2.0, clamp_v=60.0)
SMALL = JunctionModel(name="SMALL", forward_v=0.6, rated_a=1e-3)


def circuit(*parts: Part, **changes: object) -> Circuit:
    return Circuit(name="divider", parts=parts or DIVIDER, **changes)


def test_a_sound_netlist_knows_its_nets_and_parts() -> None:
    made = circuit(*DIVIDER, DIODE, models=(SMALL,), test_points=(TestPoint(
        designator="TP1", net="out", what="middle"),))  # fmt: skip
    assert made.nets == ("in", "0", "out")
    assert made.part("R2").nets == ("out", "0")
    assert [part.designator for part in made.by_role("diode")] == ["D1"]
    with pytest.raises(SubwrightError, match="no part 'R9'"):
        made.part("R9")


@pytest.mark.parametrize(
    ("parts", "changes", "complaint"),
    [
        ((*DIVIDER, resistor("R3", "out", "nowhere")), {}, "'nowhere' ends at a single pin"),
        ((*DIVIDER, resistor("r1", "in", "0")), {}, "R1 is there 2 times"),
        ((*DIVIDER, resistor("C3", "in", "0")), {}, "wrong class letters"),
        ((*DIVIDER, resistor("R03", "in", "0")), {}, "no designator"),
        ((*DIVIDER, resistor("R3_ESR", "in", "0")), {}, "suffix exactly if it is inherent"),
        ((*DIVIDER, resistor("R3", "in", "0", role="")), {}, "no role or no part to buy"),
        ((*DIVIDER, resistor("R3", "in", "0", part_id="")), {}, "no role or no part to buy"),
        ((*DIVIDER, resistor("R3", "in", "0", value=0.0)), {}, "has the value 0"),
        ((*DIVIDER, resistor("R3", "in", "0", value=float("nan"))), {}, "has the value nan"),
        ((*DIVIDER, resistor("R3", "in", "0", value=float("inf"))), {}, "infinite"),
        ((*DIVIDER, resistor("R3", "in", "0", value=None)), {}, "no value"),
        ((*DIVIDER, resistor("R3", "in", "0", value=Steady(value=1.0))), {}, "can't follow a waveform"),
        ((*DIVIDER, resistor("R3", "in", "0", nets=("in", "out", "0"))), {}, "3 nets for 2 pins"),
        ((*DIVIDER, resistor("R3", "In", "0")), {}, "'In' is no net name"),
        ((*DIVIDER, resistor("R3", "in", "0", model="SMALL")), {}, "takes no model"),
        ((*DIVIDER, resistor("R3", "in", "0", series_ohm=-1.0)), {}, "negative series resistance"),
        ((*DIVIDER, resistor("X", "in", "0", standing="bench")), {}, "isn't named so"),
        ((*DIVIDER, resistor("T1_LEAK", "in", "0", standing="inherent")), {}, "has no owner"),
        ((*DIVIDER, replace(SOURCE, designator="BENCH_B", value=1.0)), {}, "needs a waveform"),
        ((*DIVIDER, DIODE), {}, "D1 needs a model of kind diode or junction"),
        ((*DIVIDER, DIODE), {"models": (SWITCH,)}, "needs a model of kind"),
        (DIVIDER, {"models": (SMALL,)}, "no part uses the model 'SMALL'"),
        ((resistor("R1", "a", "b"), resistor("R2", "a", "b")), {}, "no part is grounded"),
        (DIVIDER, {"test_points": (TestPoint(designator="TP1", net="far", what=""),)}, "TP1 is on no net"),
        (DIVIDER, {"couplings": (Coupling(designator="T1", windings=("R1", "R2"), factor=0.9),)}, "no pair"),
    ],
)  # fmt: skip
def test_an_unsound_netlist_is_refused(
    parts: tuple[Part, ...], changes: dict[str, object], complaint: str
) -> None:
    with pytest.raises(SubwrightError, match=complaint):
        circuit(*parts, **changes)


def test_a_coupling_of_one_or_more_is_refused() -> None:
    winding = Part(
        designator="T1A", kind="winding", nets=("in", "0"), value=1e-3, standing="elsewhere", role="primary"
    )
    parts = (SOURCE, winding, replace(winding, designator="T1B"))
    tight = Coupling(designator="T1", windings=("T1A", "T1B"), factor=0.999)
    assert circuit(*parts, couplings=(tight,)).couplings == (tight,)
    with pytest.raises(SubwrightError, match="not between 0 and 1"):
        circuit(*parts, couplings=(replace(tight, factor=1.0),))


def test_a_source_that_is_followed_must_be_there() -> None:
    follower = Part(
        designator="F1", kind="current by current", nets=("in", "0"), value=1.0, standing="analogue",
        senses="BENCH_SOURCE",
    )  # fmt: skip
    assert circuit(*DIVIDER, follower).part("F1") is follower
    with pytest.raises(SubwrightError, match="senses 'M9'"):
        circuit(*DIVIDER, replace(follower, senses="M9"))


@pytest.mark.parametrize("points", [((0.0, 1.0),), ((1.0, 1.0), (2.0, 1.0)), ((0.0, 1.0), (0.0, 2.0))])
def test_a_ramp_runs_forward_from_nought(points: tuple[tuple[float, float], ...]) -> None:
    with pytest.raises(SubwrightError, match="times must start at 0"):
        Ramp(points=points)


def test_numbers_come_from_the_blocks_own_hundred() -> None:
    number = Numbering(200)
    assert [number.next("R"), number.next("C"), number.next("R")] == ["R201", "C201", "R202"]
    assert number.sections("U", 5, 4) == ("U201A", "U201B", "U201C", "U201D", "U202A")
    assert number.sections("D", 2, 1) == ("D201", "D202")


def test_sections_of_one_case_are_bought_once() -> None:
    leg = replace(DIODE, designator="D1A")
    parts = (*DIVIDER, leg, replace(leg, designator="D1B"), replace(leg, designator="D2A"))
    bought = circuit(*parts, models=(SMALL,)).bought()
    assert bought == {"diode": 2, "role of R1": 1, "role of R2": 1}
    assert leg.case == "D1"


def test_what_is_inherent_or_on_the_bench_is_not_bought() -> None:
    extra = resistor("R1_NOISE", "in", "0", standing="inherent")
    assert "role of R1_NOISE" not in circuit(*DIVIDER, extra).bought()
    assert extra.owner == "R1"


def test_every_kind_has_pins_and_every_real_one_a_letter() -> None:
    controlled = {
        "voltage by voltage",
        "current by voltage",
        "current by current",
        "voltage by current",
        "current source",
    }
    assert set(PINS) == set(IEEE_315_LETTERS) | controlled
