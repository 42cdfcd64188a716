"""The pack as PDF: one file to print, A4 or Letter, with the same bytes for the same design."""

from __future__ import annotations

import json
from collections.abc import Sequence
from functools import cache
from importlib.resources import files
from typing import Any, Literal

from subwright.base.errors import SubwrightError
from subwright.build.bringup_records import BringUp
from subwright.build.result import Design
from subwright.outputs.print_data import print_data
from subwright.outputs.schematics import SchematicSheet
from subwright.outputs.views import PackView

__all__ = ["PAPERS", "Paper", "compile_pdf", "pack_pdf"]

Paper = Literal["a4", "letter"]
PAPERS: tuple[Paper, ...] = ("a4", "letter")
_TYPST_PAPER = {"a4": "a4", "letter": "us-letter"}


@cache
def _compiler() -> Any:
    """The typesetter; it keeps its fonts and what it has set before."""
    try:
        import typst
    except ImportError:
        raise SubwrightError(
            message="the typesetter for the PDF is not installed",
            quantity="print",
            value="typst",
            remedy="install it into the same environment: pip install typst segno",
        ) from None
    return typst.Compiler(ignore_system_fonts=True)


@cache
def _template() -> bytes:
    return files("subwright.outputs").joinpath("templates/pack.typ").read_bytes()


def pack_pdf(
    design: Design,
    view: PackView,
    procedure: BringUp,
    *,
    paper: Paper = "a4",
    drawn: Sequence[SchematicSheet] = (),
) -> bytes:
    """The pack as a PDF.

    Parameters
    ----------
    design, view, procedure : the same build three times: solved, as a page, and its first power-up.
    paper : "a4" or "letter". drawn : circuits, each for a page of its own.

    Returns
    -------
    The file's bytes; no clock, path or machine goes into them.

    Raises
    ------
    SubwrightError : the typesetter is missing, or refuses the content.
    """
    data = print_data(design, view, procedure, drawn) | {"paper": _TYPST_PAPER[paper]}
    return compile_pdf(_template(), json.dumps(data, ensure_ascii=False))


def compile_pdf(template: bytes, data: str) -> bytes:
    """Set a template.

    Parameters
    ----------
    template : its text. data : what it finds under "data", JSON.

    Returns
    -------
    The PDF's bytes; no clock, path or machine goes into them.

    Raises
    ------
    SubwrightError : the typesetter is missing, or refuses the content.
    """
    compiler = _compiler()
    try:
        made = compiler.compile(input=template, format="pdf", sys_inputs={"data": data}, timestamp=0)
    except RuntimeError as error:
        raise SubwrightError(
            message=f"the print can't be set: {getattr(error, 'diagnostic', error)}".strip(),
            remedy="this is a fault of the programme; please report it with the build file",
        ) from None
    if not isinstance(made, bytes):
        raise SubwrightError(message="the typesetter gave back no file")
    return made
