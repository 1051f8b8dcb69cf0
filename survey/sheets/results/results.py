"""Writing the stable result files of each stage, every one whole or not at all."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from survey.files import write_whole
from survey.sheets.results import result_json, tables

if TYPE_CHECKING:
    from survey.condition.comparing.compare import Comparison
    from survey.condition.result import DeviationMap
    from survey.fitting.result import ArchFit
    from survey.rebuild.plan import RebuildPlan


def write_fit_results(fit: ArchFit, folder: Path) -> tuple[Path, ...]:
    """Write fit.json into a folder, which is made if missing."""
    return (write_whole(folder / "fit.json", result_json.fit_json(fit)),)


def write_deviation_results(map_: DeviationMap, folder: Path) -> tuple[Path, ...]:
    """Write deviations.csv into a folder, which is made if missing."""
    return (write_whole(folder / "deviations.csv", tables.deviations_csv(map_)),)


def write_rebuild_results(plan: RebuildPlan, folder: Path) -> tuple[Path, ...]:
    """Write layout.csv, rebuild.json and the tables that follow from the plan into a folder.

    rebuild.json comes last: when it stands, the tables beside it belong to it.
    """
    texts = {
        "layout.csv": tables.layout_csv(plan),
        "cuts.csv": tables.cuts_csv(plan),
        "centring.csv": tables.centring_csv(plan),
        "laying.csv": tables.laying_csv(plan),
        "quantities.csv": tables.quantities_csv(plan),
        "rebuild.json": result_json.rebuild_json(plan),
    }
    return tuple(write_whole(folder / name, text) for name, text in texts.items())


def write_comparison_results(comparison: Comparison, folder: Path) -> tuple[Path, ...]:
    """Write comparison.csv and comparison.json into a folder, which is made if missing."""
    return (
        write_whole(folder / "comparison.csv", tables.comparison_csv(comparison)),
        write_whole(folder / "comparison.json", result_json.comparison_json(comparison)),
    )
