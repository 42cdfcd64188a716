"""The German view: no word of the workbench's own is English, and what a design says is marked as English."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html.parser import HTMLParser
from importlib.resources import files
from pathlib import Path

import pytest
from starlette.testclient import TestClient
from web_support import EXAMPLE, revision, workbench

from subwright import service
from subwright.build.spec import BuildSpec
from subwright.outputs.spec_entries import spec_tables
from subwright.web.catalogue import labels, texts

WEB = Path(str(files("subwright.web")))
VOID = {"area", "br", "col", "hr", "img", "input", "link", "meta", "source", "track", "wbr"}
SILENT = {"script", "style", "title", "desc", "option", "code", "textarea"}
SPOKEN = ("aria-label", "title", "placeholder", "alt")
COMMON = frozenset(
    {
        *("the", "of", "and", "with", "from", "this", "that", "for", "what", "how", "when", "which", "your"),
        *("you", "it", "its", "are", "has", "have", "by", "on", "at", "to", "or", "no", "yes", "as", "be"),
        *("into", "out", "over", "more", "other"),
    }
)


class Reader(HTMLParser):
    """Collects the texts that a reader meets in German: outside of what is marked as another language."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.stack: list[tuple[str, bool]] = []
        self.said: list[str] = []

    @property
    def away(self) -> bool:
        return bool(self.stack) and self.stack[-1][1]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        held = dict(attrs)
        foreign = self.away if held.get("lang") is None else held["lang"] != "de"
        foreign = foreign or tag in SILENT or "m" in (held.get("class") or "").split()
        if tag not in VOID:
            self.stack.append((tag, foreign))
        if not foreign:
            self.said += [held[name] or "" for name in SPOKEN if held.get(name)]

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in VOID:
            self.handle_starttag(tag, attrs)

    def handle_endtag(self, tag: str) -> None:
        while self.stack:
            name, _ = self.stack.pop()
            if name == tag:
                break

    def handle_data(self, data: str) -> None:
        if data.strip() and not self.away:
            self.said.append(data.strip())


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    with workbench(tmp_path_factory.mktemp("german")) as found:
        found.cookies.set("language", "de")
        found.post(f"{EXAMPLE}/duplicate", json={"title": "Kahn"})
        found.post("/drawer", json={"title": "Kiste"})
        yield found


def strange(html: str) -> list[str]:
    """Texts that hold an English word which no German one is."""
    reader = Reader()
    reader.feed(html)
    english = {text for key, text in texts()["en"].items() if text != texts()["de"][key] and len(text) > 3}
    found = []
    for said in reader.said:
        plain = re.sub(r'"[a-z_ -]*"', "", said)  # values of keys are the build file's own
        plain = re.sub(r"\bTO-\d+", "", plain)  # a package's name in any language
        words = set(re.findall(r"[a-zäöüß]+", plain.lower()))
        if said in english or words & COMMON:
            found.append(said)
    return found


PAGES = (
    *("/builds", "/new", "/drawer/kiste.drawer.toml", EXAMPLE, f"{EXAMPLE}/bench", f"{EXAMPLE}/trials"),
    *(f"{EXAMPLE}/difference", f"{EXAMPLE}/versions", "/explain/SUP-01", "/b/no-such-build"),
    f"{EXAMPLE}/alternatives?key=transformer.core",
    f"{EXAMPLE}/alternatives?key=converter.mosfet",
    f"{EXAMPLE}/whatif?key=goal.power&value=120 W",
    f"{EXAMPLE}/without?part=IRFB5620",
    f"{EXAMPLE}/bench/fit?unit=9",
)


@pytest.mark.parametrize("path", PAGES)
def test_no_english_on_a_german_page(client: TestClient, path: str) -> None:
    headers = {} if path.startswith(f"{EXAMPLE}/") else {"X-Workbench": ""}
    assert strange(client.get(path, headers=headers).text) == []


def test_no_english_on_any_german_sheet(client: TestClient) -> None:
    found = {}
    for key in ("overview", *(sheet.key for sheet in service.sheets(van().design)), "build", "air"):
        rest = strange(client.get(f"{EXAMPLE}/sheet/{key}").text)
        rest += (
            strange(client.get(f"{EXAMPLE}/circuit/{key}").text) if key not in ("overview", "build") else []
        )
        if rest:
            found[key] = rest
    assert found == {}


def test_no_english_after_a_change(client: TestClient) -> None:
    told = client.post(
        f"{EXAMPLE}/set", json={"key": "goal.power", "value": "130 W", "revision": revision(client)}
    ).json()
    client.post(f"{EXAMPLE}/undo", json={"revision": revision(client)})
    for part in ("moved", "pane", "scene"):
        assert strange(told[part]) == [], part


def test_the_test_itself_finds_english(client: TestClient) -> None:
    client.cookies.set("language", "en")
    html = client.get(EXAMPLE).text.replace('<html lang="en"', '<html lang="de"')
    client.cookies.set("language", "de")
    assert len(strange(html)) > 20


def van() -> service.Solved:
    return service.solve(Path(__file__).parents[2] / "examples" / "storyteller-van.build.toml")


def test_every_key_kind_and_sheet_has_its_german_name() -> None:
    known = labels()
    keys = {entry.key for table in spec_tables(BuildSpec) for entry in table.entries}
    assert keys - set(known["keys"]) == set()
    assert set(service.part_kinds()) - set(known["kinds"]) == set()
    for path in sorted((Path(__file__).parents[2] / "examples").glob("*.build.toml")):
        design = service.solve(path).design
        assert {sheet.title for sheet in service.sheets(design)} - set(known["sheets"]) == set()
        figures = {name for name, _ in service.overview(design).key_figures}
        assert figures - set(known["figures"]) == set()


def test_no_words_outside_the_catalogue() -> None:
    """Templates hold no text of their own: whatever a reader sees comes from the catalogue or the design."""
    allowed = {"subwright", "Deutsch", "English", "serve", "host", "SUBWRIGHT", "TOKEN", "build", "toml"}
    for path in WEB.rglob("*.j2"):
        text = re.sub(r"\{#.*?#\}|\{%.*?%\}|\{\{.*?\}\}", " ", path.read_text(encoding="utf-8"), flags=re.S)
        text = re.sub(r"<script.*?</script>|<style.*?</style>", " ", text, flags=re.S)
        bare = re.sub(r"<[^>]*>", " ", text)
        words = set(re.findall(r"[A-Za-z]{3,}", bare)) - allowed
        assert not words, f"{path.name}: {words}"
