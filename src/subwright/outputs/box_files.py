"""Everything for the saw and the bench about the box, as files."""

from __future__ import annotations

from collections.abc import Mapping

from subwright.build.box_limits import BoxLimits
from subwright.outputs.box_exploded import box_exploded_svg
from subwright.outputs.box_limits_plot import cabin_level_plot, corner_level_plot, levels_csv
from subwright.outputs.box_views import box_views_svg
from subwright.outputs.dxf import DxfUnit, panel_files
from subwright.outputs.panel_drawing import cut_plan_svg, panels_svg
from subwright.outputs.panels import panels_csv
from subwright.stages.enclosure_result import EnclosureResult

__all__ = ["box_files"]


def box_files(
    box: EnclosureResult, limits: BoxLimits, *, name: str, stamp: str = "", unit: DxfUnit = "mm"
) -> Mapping[str, str]:
    """Drawings, DXF files and tables of a box by file name; the same box gives the same bytes.

    Parameters
    ----------
    box : the box. limits : of its design.
    name : printed on every drawing. stamp : printed beside it where the design isn't ready.
    unit : of the DXF files.

    Source
    ------
    [derived]
    """
    drawn = panel_files(box.panels, box.cut_plan, unit, stamp=stamp)
    files = {f"dxf/{file}": text for file, text in drawn.items()}
    files["views.svg"] = box_views_svg(box, title=f"{name}: box", stamp=stamp)
    files["taken-apart.svg"] = box_exploded_svg(box, title=f"{name}: box", stamp=stamp)
    files["panels.svg"] = panels_svg(box.panels, title=f"{name}: panels", stamp=stamp)
    files["cut-plan.svg"] = cut_plan_svg(box, title=f"{name}: cut plan", stamp=stamp)
    files["level-by-battery.svg"] = corner_level_plot(limits).render()
    files["level-in-cabin.svg"] = cabin_level_plot(limits).render()
    files["levels.csv"] = levels_csv(limits)
    files["panels.csv"] = panels_csv(box)
    return files
