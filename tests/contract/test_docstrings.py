"""Public physics says what goes in and out, in which units, and by which source; every key cited exists."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator

import pytest
from codebase import Module, docstrings, exported, modules, public_definitions

from subwright.base.errors import SubwrightError
from subwright.base.quantities import dimension_of
from subwright.base.sources import bibliography, cited_keys

Function = ast.FunctionDef | ast.AsyncFunctionDef
Named = ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef


def sections(text: str) -> dict[str, str]:
    """Underlined sections of a docstring: heading to body."""
    pieces = re.split(r"^[ \t]*(\S[^\n]*)\n[ \t]*-{3,}[ \t]*$", text, flags=re.MULTILINE)
    return dict(zip(pieces[1::2], pieces[2::2], strict=True))


# A unit, or the plain statement that there is none.
UNIT = re.compile(
    r"""(?<![A-Za-z])(?:
        [mkMµun]?(?:V|A|W|J|Ω|F|H|Hz|s|T|C|N|Pa|VA|Wb|S)(?![A-Za-z]) | K(?![A-Za-z])
      | (?:k|c|m|µ)?m[²³]?(?![A-Za-z]) | k?g(?![A-Za-z]) | rad | dB | Ah | °C? | 1/ | %
      | dimensionless | share | ratio | count | number | turns? | decibels? | degrees? | fraction | factor
      | exponent | (?:the\ )?(?:same\ )?unit
    )""",
    re.VERBOSE,
)
NUMERIC = re.compile(r"\b(?:float|Floats?|Array|ArrayLike|NDArray|Complexes|Numbers?|Real)\b")


def physics_functions() -> Iterator[tuple[Module, Function]]:
    for module in modules():
        if module.layer != "physics" or any(part.startswith("_") for part in module.name.split(".")):
            continue
        public = exported(module)
        for name, node in public_definitions(module):
            if isinstance(node, Function) and (public is None or name in public):
                yield module, node


CASES = [
    pytest.param(m, f, id=f"{m.name.removeprefix('subwright.')}.{f.name}") for m, f in physics_functions()
]


def is_number(annotation: ast.expr | None) -> bool:
    """Whether an annotation is a number or an array; a mapping or a function is neither."""
    text = ast.unparse(annotation) if annotation else "float"
    return bool(NUMERIC.search(text)) and not text.startswith(("Mapping", "dict", "Callable"))


def says_its_unit(name: str) -> bool:
    """Whether a name ends in a unit suffix or in a word for a number without unit."""
    without = ("ratio", "share", "factor", "count", "turns", "strands", "layers", "order", "duty")
    without += ("efficiency", "percent")
    quality_factor = re.search(r"(?:^|_)q[a-z]{0,2}$", name)  # q, qts, qtc, ql: Thiele's and Small's symbols
    try:
        known_unit = dimension_of(name) != "ratio"
    except SubwrightError:
        known_unit = False
    return known_unit or name.endswith(without) or quality_factor is not None


def argument_nodes(function: Function) -> list[ast.arg]:
    given = function.args
    star = [given.vararg] if given.vararg else []
    return [*given.posonlyargs, *given.args, *star, *given.kwonlyargs]


def arguments(function: Function) -> list[str]:
    return [item.arg for item in argument_nodes(function)]


@pytest.mark.parametrize(("module", "function"), CASES)
def test_physics_names_its_source(module: Module, function: Function) -> None:
    """A check that returns nothing computes nothing."""
    if isinstance(function.returns, ast.Constant) and function.returns.value is None:
        return
    text = ast.get_docstring(function) or ""
    assert cited_keys(text), f"{module}.{function.name} has no Source section with a [key]"


@pytest.mark.parametrize(("module", "function"), CASES)
def test_physics_gives_every_number_a_unit(module: Module, function: Function) -> None:
    """By the suffix of the argument's name, or in the Parameters section; a mapping's keys have their own."""
    entries = parameter_entries(sections(ast.get_docstring(function) or "").get("Parameters", ""))
    bare = [
        item.arg
        for item in argument_nodes(function)
        if is_number(item.annotation)
        and not says_its_unit(item.arg)
        and not UNIT.search(entries.get(item.arg, ""))
    ]
    assert not bare, f"{module}.{function.name} gives no unit for {', '.join(bare)}"


@pytest.mark.parametrize(("module", "function"), CASES)
def test_physics_documents_all_arguments_or_none(module: Module, function: Function) -> None:
    """A Parameters section that leaves one out, or names one that is gone, has not kept up with the code."""
    text = sections(ast.get_docstring(function) or "").get("Parameters")
    if text is None:
        return
    entries = parameter_entries(text)
    names = arguments(function)
    missing = [name for name in names if name not in entries]
    assert not missing, f"{module}.{function.name} does not document {', '.join(missing)}"
    gone = [name for name in entries if name not in names]
    assert not gone, f"{module}.{function.name} documents {', '.join(gone)}, which it does not take"


@pytest.mark.parametrize(("module", "function"), CASES)
def test_physics_gives_its_result_a_unit(module: Module, function: Function) -> None:
    """By the suffix of the function's name, or in the Returns section; a record's fields have their own."""
    if not is_number(function.returns):
        return
    body = sections(ast.get_docstring(function) or "").get("Returns", "")
    stated = says_its_unit(function.name) or UNIT.search(body)
    assert stated, f"{module}.{function.name} gives no unit for its result"


def parameter_entries(body: str) -> dict[str, str]:
    """Argument name to its text, from ``a, b : text`` lines with deeper lines going on."""
    entries: dict[str, str] = {}
    names: list[str] = []
    lines = [line for line in body.splitlines() if line.strip()]
    margin = min((len(line) - len(line.lstrip()) for line in lines), default=0)
    for line in lines:
        heading = re.match(r"([A-Za-z_][\w, ]*?)\s*:(.*)", line[margin:])
        if heading and not line[margin:].startswith(" "):
            names = [name.strip() for name in heading.group(1).split(",")]
            for name in names:
                entries[name] = heading.group(2)
        else:
            for name in names:
                entries[name] += " " + line.strip()
    return entries


@pytest.mark.parametrize("module", modules(), ids=str)
def test_every_cited_key_is_in_the_bibliography(module: Module) -> None:
    unknown = [
        f"[{key}] in {where}"
        for where, text in docstrings(module)
        if where != "subwright.base.sources"  # its docstring shows how to cite
        for key in cited_keys(text)
        if key not in bibliography()
    ]
    assert not unknown, "; ".join(unknown)


def listed_sources(module: Module) -> Iterator[tuple[str, int]]:
    """Keys written out in a ``sources=(…)`` argument or in a constant whose name ends in SOURCES."""
    for node in ast.walk(module.tree):
        values: list[ast.expr] = []
        if isinstance(node, ast.Call):
            values = [item.value for item in node.keywords if item.arg == "sources"]
        elif isinstance(node, (ast.Assign, ast.AnnAssign)) and node.value is not None:
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            if any(isinstance(t, ast.Name) and t.id.upper().endswith("SOURCES") for t in targets):
                values = [node.value]
        for value in values:
            for item in ast.walk(value):
                if isinstance(item, ast.Constant) and isinstance(item.value, str):
                    yield item.value, item.lineno


WITH_RESULTS = [m for m in modules() if m.layer in ("stages", "circuits", "build")]


@pytest.mark.parametrize("module", WITH_RESULTS, ids=str)
def test_every_source_of_a_result_is_in_the_bibliography(module: Module) -> None:
    unknown = [f"line {line}: {key!r}" for key, line in listed_sources(module) if key not in bibliography()]
    assert not unknown, f"{module}: {'; '.join(unknown)}"


def test_the_unit_test_can_fail() -> None:
    assert not UNIT.search("the big one")
    assert UNIT.search("flux density, T, shape (n,)")
    assert parameter_entries("a, b : first, V\n    and more\nc : Ω\n") == {
        "a": " first, V and more",
        "b": " first, V and more",
        "c": " Ω",
    }


@pytest.mark.parametrize("module", modules(), ids=str)
def test_every_module_says_what_it_is_for(module: Module) -> None:
    assert ast.get_docstring(module.tree), f"{module} has no docstring"


@pytest.mark.parametrize("module", modules(), ids=str)
def test_public_names_are_exported_and_exist(module: Module) -> None:
    defined = {
        name for name, node in public_definitions(module) if isinstance(node, Named) or name.isupper()
    } - registered(module)
    public = exported(module)
    if public is None:
        assert not defined or module.name == "subwright", f"{module} has no __all__"
        return
    hidden = sorted(defined - set(public))
    assert not hidden, f"{module} defines but does not export {', '.join(hidden)}"
    assert len(set(public)) == len(public), f"{module} exports a name twice"
    names = {
        alias.asname or alias.name
        for node in ast.walk(module.tree)
        if isinstance(node, (ast.Import, ast.ImportFrom))
        for alias in node.names
    }
    own = {name for name, _ in public_definitions(module)}
    absent = sorted(set(public) - own - names - {"__version__"})
    assert not absent, f"{module} exports names that it does not define: {', '.join(absent)}"


def registered(module: Module) -> set[str]:
    """Functions that a decorator hands to a command line or web application; nobody imports them."""
    hooks = {"command", "callback", "get", "post", "middleware", "exception_handler"}
    return {
        node.name
        for node in module.tree.body
        if isinstance(node, Function)
        for decorator in node.decorator_list
        if isinstance(decorator, ast.Call)
        and isinstance(decorator.func, ast.Attribute)
        and decorator.func.attr in hooks
    }


@pytest.mark.parametrize("module", modules(), ids=str)
def test_public_functions_take_no_keyword_bag(module: Module) -> None:
    bags = [
        node.name
        for name, node in public_definitions(module)
        if isinstance(node, Function) and node.args.kwarg is not None
    ]
    assert not bags, f"{module}: {', '.join(bags)} would swallow a misspelled argument"


@pytest.mark.parametrize("module", modules(), ids=str)
def test_field_suffixes_are_in_the_glossary(module: Module) -> None:
    """A stored field whose compound unit the glossary lacks could not be printed."""
    unknown = []
    for node in ast.walk(module.tree):
        if isinstance(node, ast.ClassDef):
            for item in node.body:
                if isinstance(item, ast.AnnAssign) and isinstance(item.target, ast.Name):
                    try:
                        dimension_of(item.target.id)
                    except SubwrightError:
                        unknown.append(f"line {item.lineno}: {item.target.id}")
    assert not unknown, f"{module}: {'; '.join(unknown)}"
