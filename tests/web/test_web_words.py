"""The catalogue, the inch view, and what the shipped example and the style promise."""

from __future__ import annotations

import re
import tomllib
from importlib.resources import files
from pathlib import Path

import pytest

from subwright.outputs.look import DARK, LIGHT, Palette
from subwright.web.catalogue import LANGUAGES, SPOKEN, chosen, texts
from subwright.web.customary import customary

WEB = Path(str(files("subwright.web")))
EXAMPLES = Path(__file__).parents[2] / "examples"


def test_every_text_exists_in_every_language() -> None:
    raw = tomllib.loads((WEB / "texts.toml").read_text(encoding="utf-8"))
    for key, row in raw.items():
        assert set(row) == set(LANGUAGES), key
        assert all(row.values()), key


def test_every_text_that_is_asked_for_is_in_the_catalogue() -> None:
    asked: set[str] = set()
    for path in WEB.rglob("*.j2"):
        asked |= set(re.findall(r'\bt\("([^"]+)"\)', path.read_text(encoding="utf-8")))
    for path in WEB.rglob("*.py"):
        asked |= set(re.findall(r"""\bwords?\(["']([^"']+)["']\)""", path.read_text(encoding="utf-8")))
    for path in WEB.rglob("*.js"):
        text = path.read_text(encoding="utf-8")
        said = set(re.findall(r'\bword\("([^"]+)"\)', text))
        said |= set(re.findall(r'"((?:bench|trial)\.[a-z ]+)"', text))
        missing = said - set(SPOKEN)
        assert not missing, f"{path.name} says what the page does not hand it: {missing}"
    asked |= set(SPOKEN)
    assert len(asked) > 100
    assert not asked - set(texts()["en"])


def test_no_text_is_left_over() -> None:
    whole = "".join(
        path.read_text(encoding="utf-8") for kind in ("*.j2", "*.py", "*.js") for path in WEB.rglob(kind)
    )
    composed = {
        "stop",
        "warn",
        "note",
        "ok",
        "min",
        "low",
        "nominal",
        "charging",
        "max",
        "idle",
        "programme",
        "full",
    }
    whole = whole.replace("('", '("').replace("')", '")')
    composed |= {"light", "dark", "as system", "metric", "inch"}
    composed |= {"signal"}  # a sheet's own key, looked up by name
    composed |= {"add series", "add parallel"}  # how a resistor goes in
    composed |= {"speaker", "controller"}  # blocks of experiments
    spare = [
        key
        for key in texts()["en"]
        if f'"{key}"' not in whole
        and not key.startswith(("state.", "trial.", "standing ", "draw.", "battery.", "count.", "why."))
        and key not in composed
    ]
    assert not spare


@pytest.mark.parametrize(
    ("metric", "inch"),
    [
        ("18.0 mm", "0.709 in"),
        ("4.00 m", "13.1 ft"),
        ("19.0 l", "0.671 ft³"),
        ("1.50 l", "91.5 in³"),
        ("11.6 kg", "25.6 lb"),
        ("94.0 g", "3.32 oz"),
        ("50.0 °C", "122 °F"),
        ("\u221210.0 °C", "14 °F"),
        ("17.0 m/s", "55.8 ft/s"),
    ],
)
def test_inches(metric: str, inch: str) -> None:
    """Exact by definition: 1 in = 25.4 mm, 1 lb = 0.453 592 37 kg (international yard and pound, 1959)."""
    assert customary(metric) == inch


@pytest.mark.parametrize(
    "text", ["10.0 mm²", "300 mm²", "4.70 mΩ", "12.0 V", "38 mA", "ECW 0.50", "5 min", "9 m²", "2.2 lm"]
)
def test_what_is_no_length_stays(text: str) -> None:
    assert customary(text) == text


def test_the_shipped_example_is_the_one_in_examples() -> None:
    for path in (WEB / "example").glob("*.toml"):
        assert path.read_bytes() == (EXAMPLES / path.name).read_bytes(), path.name


@pytest.mark.parametrize(
    ("cookie", "accepted", "language"), [("de", "en", "de"), ("xx", "de;q=1", "de"), ("", "", "en")]
)
def test_the_readers_language(cookie: str, accepted: str, language: str) -> None:
    assert chosen(cookie, accepted) == language


def luminance(colour: str) -> float:
    parts = [int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("ink", ["ink", "soft", "accent"])
@pytest.mark.parametrize("ground", ["paper", "sheet"])
def test_text_can_be_read_on_its_ground(palette: Palette, ink: str, ground: str) -> None:
    """Contrast of at least 4.5 to 1 (WCAG 2.2, success criterion 1.4.3)."""
    a, b = sorted((luminance(getattr(palette, ink)), luminance(getattr(palette, ground))))
    assert (b + 0.05) / (a + 0.05) >= 4.5


def test_scripts_stay_small_and_styles_inline_nowhere() -> None:
    pages = {"workbench": ("workbench", "talk", "plot", "circuit"), "bench": ("bench", "talk")}
    pages |= {"builds": ("builds", "folder", "talk"), "trials": ("trials", "work", "talk", "plot")}
    pages |= {"boards": ("boards", "work", "talk", "plot", "circuit")}
    pages |= {"a sheet, once its test points are in sight": ("points",)}
    pages |= {"a remedy, or changes side by side": ("trying",)}
    for page, scripts in pages.items():  # what one page loads
        assert sum((WEB / f"static/{name}.js").stat().st_size for name in scripts) < 44_000, page
    assert set().union(*pages.values()) == {path.stem for path in WEB.glob("static/*.js")}
    for path in (*WEB.rglob("*.j2"), *WEB.glob("*.py")):
        text = path.read_text(encoding="utf-8")
        assert not re.search(r'<[^>]*\sstyle="', text), path.name
        assert not re.search(r"\son[a-z]+=\"", text), path.name
