"""The drawer file: read, refuse with line and key, merge, and change without losing a comment."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from subwright.base.errors import InputError, PartNotFoundError, SubwrightError
from subwright.parts import drawer as drawer_module
from subwright.parts.drawer import add_part, load_drawer, parse_drawer, set_quantity, set_values
from subwright.parts.library import load_library
from subwright.parts.schema import Core

GOOD = """\
format_version = 1
name = "Bench drawer"

[have]
IRF3205 = 12            # pulled, tested
"R36/23/15-N87" = 2

[[resistor_stock]]
series = "E24"
tolerance = "1 %"
power = "0.6 W"
low = "10 Ω"
high = "1 MΩ"

[[capacitor_stock]]
series = "E6"
tolerance = "5 %"
voltage = "63 V"
technology = "film"
stock = ["100n", "10n", "47n"]

[[core]]
id = "black ring"       # no marking at all
quantity = 2
source = "measured with a caliper, bench meter at 10 kHz"
shape = "ring"
material = "unmarked"
outer = "36.1 mm"
inner = "22.9 mm"
height = "15.0 mm"
al = "2.8 µH"
"""

SWITCH = """
[[mosfet]]
id = "MB60"
quantity = 4
source = "the sheet that came with it"
channel = "n"
package = "TO-220"
vds = "60 V"
rds_on = "8 mΩ"
rds_hot_ratio = 1.5
vgs_max = "20 V"
vgs_th = "4 V"
qg = "90 nC"
qgs = "20 nC"
qgd = "28 nC"
qrr = "110 nC"
trr = "60 ns"
coss = "500 pF"
vsd = "1.3 V"
rth_jc = "0.9 K/W"
"""


def problems_of(text: str) -> list[str]:
    with pytest.raises(InputError) as caught:
        parse_drawer(text, Path("d.toml"))
    return [str(problem) for problem in caught.value.problems]


def test_good_drawer() -> None:
    drawer = parse_drawer(GOOD)
    assert drawer.name == "Bench drawer"
    assert drawer.quantities == {"IRF3205": 12, "R36/23/15-N87": 2, "black ring": 2}
    core = drawer.records["core"]["black ring"]
    assert isinstance(core, Core)
    assert core.outer_m == pytest.approx(36.1e-3, rel=1e-12)
    assert core.al_h == pytest.approx(2.8e-6, rel=1e-12)
    assert core.a_e_m2 == pytest.approx(97.3e-6, rel=1e-3)
    assert core.provenance.kind == "measured"


def test_stock_values() -> None:
    drawer = parse_drawer(GOOD)
    (resistors,), (capacitors,) = drawer.resistors, drawer.capacitors
    assert list(resistors.values(95, 131)) == [100, 110, 120, 130]
    assert list(resistors.values(1, 11.5)) == [10, 11]
    assert len(resistors.values(2e6, 3e6)) == 0
    assert resistors.holds(4700)
    assert not resistors.holds(4750)
    assert not resistors.holds(1.1e6)
    assert (resistors.tolerance, resistors.power_w) == (0.01, 0.6)
    assert list(capacitors.values(1e-12, 1)) == pytest.approx([10e-9, 47e-9, 100e-9], rel=1e-12)
    assert capacitors.holds(47e-9)
    assert not capacitors.holds(22e-9)
    assert (capacitors.voltage_v, capacitors.technology) == (63, "film")


def test_merged_library_knows_the_drawer() -> None:
    library = load_library().with_drawer(parse_drawer(GOOD))
    assert library.in_drawer("IRF3205") == 12
    assert library.in_drawer("IRFZ44N") == 0
    assert library.core("black ring").material == "unmarked"
    assert "black ring" not in load_library().cores
    columns = library.core_columns()
    assert dict(zip(columns["id"], columns["in_drawer"], strict=True))["black ring"] == 2
    assert library.drawer is not None
    assert library.resistors == library.drawer.resistors


def test_own_record_wins_over_the_librarys() -> None:
    text = GOOD.replace('id = "black ring"', 'id = "R40/24/16-N87"')
    library = load_library().with_drawer(parse_drawer(text))
    assert library.core("R40/24/16-N87").outer_m == pytest.approx(36.1e-3, rel=1e-12)


def test_id_of_a_mosfet_is_its_current_not_its_name() -> None:
    """``id`` is the part's name in every record; the drain current goes by its full field name."""
    found = problems_of(GOOD + SWITCH)
    assert found == ["d.toml:33: mosfet[0].id_a: is missing"]
    drawer = parse_drawer(GOOD + SWITCH + 'id_a = "80 A"\n')
    assert drawer.records["mosfet"]["MB60"].description == "N-channel MOSFET 60 V 8 mΩ TO-220"


@pytest.mark.parametrize(
    ("old", "new", "line", "key", "said"),
    [
        ('outer = "36.1 mm"', 'outer = "36.1 V"', 28, "core[0].outer", "'36.1 V' is a voltage, not a length"),
        ('outer = "36.1 mm"', "outer = 36.1", 28, "core[0].outer", "has no unit"),
        ('outer = "36.1 mm"', 'outer = "36.1 m"', 28, "core[0].outer", "outside 2.00 mm to 300 mm"),
        ('outer = "36.1 mm"', 'outr = "36.1 mm"', 28, "core[0].outr", "did you mean 'outer'?"),
        ('outer = "36.1 mm"', "", 22, "core[0].outer", "is missing"),
        ('outer = "36.1 mm"', 'outer = "20 mm"', 28, "core[0].outer", "hole must be smaller"),
        ('outer = "36.1 mm"', "outer = true", 28, "core[0].outer", "is not a length"),
        ('shape = "ring"', 'shape = "round"', 26, "core[0].shape", "none of ring, etd, e"),
        ("quantity = 2", "quantity = 2.5", 24, "core[0].quantity", "not a whole number"),
        ("quantity = 2", "quantity = -1", 24, "core[0].quantity", "not a whole number"),
        ("IRF3205 = 12 ", 'IRF3205 = "12" ', 5, "have.IRF3205", "not a whole number"),
        ('id = "black ring"', "id = 7", 23, "core[0].id", "7 is not a text"),
        ('id = "black ring"', 'id = "IRF3205"', 23, "core[0].id", "is in this drawer twice"),
        ("source = ", "origin = ", 22, "core[0].source", "is missing"),
        ('series = "E24"', 'series = "E25"', 9, "resistor_stock[0].series", "'E25' is none of E3"),
        ('tolerance = "1 %"', 'tolerance = "90 %"', 10, "resistor_stock[0].tolerance", "0 and 50 %"),
        ('low = "10 Ω"', "", 8, "resistor_stock[0].low", "must both be given"),
        ('low = "10 Ω"', 'low = "10 V"', 12, "resistor_stock[0].low", "not a resistance"),
        ('low = "10 Ω"', 'low = "2 MΩ"', 12, "resistor_stock[0].low", "low below high"),
        ('stock = ["100n", ', 'stock = ["100 V", ', 20, "capacitor_stock[0].stock", "not a capacitance"),
        ('stock = ["100n", ', "stock = [100, ", 20, "capacitor_stock[0].stock", "100 is not a text"),
        ('technology = "film"', 'technology = "mica"', 19, "capacitor_stock[0].technology", "none of"),
        ('voltage = "63 V"', 'volts = "63 V"', 18, "capacitor_stock[0].volts", "no such key"),
        ("[[core]]", "[[cores]]", 22, "cores", "no such kind of part"),
        ("[[core]]", "[core]", 22, "core", "write [[core]]"),
        ("format_version = 1", "format_version = 2", 1, "format_version", "this programme reads 1"),
        ("format_version = 1", "", 1, "format_version", "is missing; write format_version = 1"),
        ("[have]", "[have", 4, "file", "Expected ']'"),
    ],
)
def test_each_mistake_has_its_line_and_key(old: str, new: str, line: int, key: str, said: str) -> None:
    assert old in GOOD
    found = problems_of(GOOD.replace(old, new, 1))
    assert any(text.startswith(f"d.toml:{line}: {key}: ") and said in text for text in found), found


def test_all_mistakes_are_told_at_once() -> None:
    text = GOOD.replace('outer = "36.1 mm"', 'outer = "36.1 V"').replace('series = "E6"', 'series = "E7"')
    assert len(problems_of(text)) == 2


def test_unknown_references_are_refused_with_hints() -> None:
    drawer = parse_drawer(GOOD.replace("IRF3205", "IRF32O5").replace('"unmarked"', '"N78"'), Path("d.toml"))
    with pytest.raises(InputError) as caught:
        load_library().with_drawer(drawer)
    first, second = map(str, caught.value.problems)
    assert first.startswith("d.toml:5: have.IRF32O5: is in no record; did you mean IRF3205")
    assert second.startswith("d.toml:22: core.black ring.material: no grade 'N78'; did you mean N97 or N87")


def test_add_part_keeps_comments_and_order(tmp_path: Path) -> None:
    path = tmp_path / "d.toml"
    path.write_text(GOOD, encoding="utf-8")
    values = {
        "id": "grey ring",
        "source": "measured",
        "shape": "ring",
        "material": "3C90",
        "outer": "40 mm",
        "inner": "24 mm",
        "height": "16 mm",
    }
    drawer = add_part(path, "core", values, quantity=3)
    assert drawer.quantities["grey ring"] == 3
    text = path.read_text(encoding="utf-8")
    assert text.startswith(GOOD.rstrip("\n"))
    assert load_drawer(path).quantities == drawer.quantities
    assert [p.name for p in tmp_path.iterdir()] == ["d.toml"]


def test_add_part_makes_a_new_file(tmp_path: Path) -> None:
    path = tmp_path / "new.drawer.toml"
    add_part(
        path,
        "insulator",
        {
            "id": "blue pad",
            "source": "sheet",
            "package": "TO-220",
            "rth": "1.2 K/W",
            "thickness": "0.2 mm",
            "breakdown": "3 kV",
        },
    )
    assert load_drawer(path).quantities == {"blue pad": 1}
    assert load_drawer(path).name == "new"


def test_add_part_refuses_and_leaves_the_file(tmp_path: Path) -> None:
    path = tmp_path / "d.toml"
    path.write_text(GOOD, encoding="utf-8")
    with pytest.raises(InputError, match="is missing"):
        add_part(path, "core", {"id": "x", "source": "measured", "shape": "ring", "material": "N87"})
    with pytest.raises(SubwrightError, match="no kind of part 'cores'"):
        add_part(path, "cores", {"id": "x"})
    assert path.read_text(encoding="utf-8") == GOOD


def test_set_quantity(tmp_path: Path) -> None:
    path = tmp_path / "d.toml"
    path.write_text(GOOD, encoding="utf-8")
    set_quantity(path, "IRF3205", 10)
    set_quantity(path, "black ring", 1)
    set_quantity(path, "IRFZ44N", 4)
    text = path.read_text(encoding="utf-8")
    assert "IRF3205 = 10            # pulled, tested" in text
    assert "# no marking at all" in text
    assert load_drawer(path).quantities == {
        "IRF3205": 10,
        "R36/23/15-N87": 2,
        "IRFZ44N": 4,
        "black ring": 1,
    }
    with pytest.raises(InputError, match="not a whole number"):
        set_quantity(path, "IRF3205", -1)
    assert load_drawer(path).quantities["IRF3205"] == 10


def test_set_quantity_without_a_have_table(tmp_path: Path) -> None:
    path = tmp_path / "d.toml"
    path.write_text("format_version = 1\n\n" + GOOD[GOOD.index("[[core]]") :], encoding="utf-8")
    assert set_quantity(path, "IRF3205", 3).quantities == {"IRF3205": 3, "black ring": 2}


def test_failed_save_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "d.toml"
    path.write_text(GOOD, encoding="utf-8")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("subwright.base.saving.os.replace", full)
    with pytest.raises(InputError, match="no space left"):
        set_quantity(path, "IRF3205", 1)
    assert path.read_text(encoding="utf-8") == GOOD
    assert [p.name for p in tmp_path.iterdir()] == ["d.toml"]


def test_saving_keeps_mode_and_link(tmp_path: Path) -> None:
    path = tmp_path / "real.toml"
    path.write_text(GOOD, encoding="utf-8")
    path.chmod(0o640)
    link = tmp_path / "d.toml"
    link.symlink_to(path)
    set_quantity(link, "IRF3205", 1)
    assert link.is_symlink()
    assert path.stat().st_mode & 0o777 == 0o640
    assert load_drawer(path).quantities["IRF3205"] == 1


@pytest.mark.parametrize("what", ["missing", "folder", "binary", "huge"])
def test_unreadable_files_get_one_clear_error(tmp_path: Path, what: str) -> None:
    path = tmp_path / "d.toml"
    if what == "folder":
        path.mkdir()
    elif what == "binary":
        path.write_bytes(b"\xff\xfe\x00")
    elif what == "huge":
        with path.open("wb") as handle:
            os.truncate(handle.fileno(), drawer_module.SIZE_LIMIT_BYTES + 1)
    with pytest.raises(InputError) as caught:
        load_drawer(path)
    assert str(caught.value).startswith(f"{path}:1: file: ")


LEAVES = st.one_of(
    st.integers(), st.floats(), st.booleans(), st.sampled_from(["", "1 mm", "E24", "N87", "1e999 V", "ring"])
)


@given(
    old=st.sampled_from([line for line in GOOD.splitlines() if " = " in line]),
    value=st.one_of(LEAVES, st.lists(LEAVES, max_size=3)),
)
def test_no_value_brings_down_the_reader(old: str, value: object) -> None:
    """Any TOML value in any place gives a drawer or an InputError, never another exception."""
    key = old.partition(" = ")[0]
    text = GOOD.replace(old, f"{key} = {toml(value)}", 1)
    try:
        load_library().with_drawer(parse_drawer(text))
    except InputError as error:
        told = error.problems
    else:
        return
    assert told


def toml(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return "[" + ", ".join(map(toml, value)) + "]"
    if isinstance(value, str):
        return f'"{value}"'
    return repr(value)


def test_set_values_changes_one_record_and_keeps_the_rest(tmp_path: Path) -> None:
    path = tmp_path / "d.toml"
    path.write_text(GOOD, encoding="utf-8")
    drawer = set_values(path, "core", "black ring", {"checked_flux": "380 mT", "saturation": "290 mT"})
    core = drawer.records["core"]["black ring"]
    assert core.saturation_t == pytest.approx(0.29)  # type: ignore[attr-defined]
    assert core.checked_flux_t == pytest.approx(0.38)  # type: ignore[attr-defined]
    kept = [
        line
        for line in path.read_text("utf-8").splitlines()
        if "flux" not in line and "saturation" not in line
    ]
    assert kept == [line for line in GOOD.splitlines() if "flux" not in line and "saturation" not in line]


def test_set_values_refuses_what_is_wrong_and_leaves_the_file(tmp_path: Path) -> None:
    path = tmp_path / "d.toml"
    path.write_text(GOOD, encoding="utf-8")
    with pytest.raises(InputError):
        set_values(path, "core", "black ring", {"saturation": "290"})
    with pytest.raises(PartNotFoundError, match="black ring"):
        set_values(path, "core", "white ring", {"saturation": "290 mT"})
    assert path.read_text("utf-8") == GOOD
