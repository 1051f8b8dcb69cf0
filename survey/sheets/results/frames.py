"""The result tables as pandas frames, for notebooks: the very columns of the CSV files."""

from __future__ import annotations

import io

import pandas as pd

from survey.condition.result import DeviationMap
from survey.rebuild.plan import RebuildPlan
from survey.record.model import Record
from survey.sheets.results import tables

POINT_COLUMNS = ("point", "x_mm", "y_mm", "w_mm", "sigma_mm", "feature", "ring", "course", "edge")


def _frame(csv_text: str) -> pd.DataFrame:
    frame = pd.read_csv(io.StringIO(csv_text), keep_default_na=False, na_values=[""])
    if "refused" in frame.columns:  # words, not a figure that was not measured
        frame["refused"] = frame["refused"].astype(object).fillna("")
    return frame


def points_frame(record: Record) -> pd.DataFrame:
    """Surveyed points in the face of the wall, one row a point; columns :data:`POINT_COLUMNS`."""
    points = record.points
    columns = (
        points.name,
        points.xy_mm[:, 0],
        points.xy_mm[:, 1],
        points.w_mm,
        points.sigma_mm,
        [str(feature) for feature in points.feature],
        points.ring,
        points.course,
        [str(edge) for edge in points.edge],
    )
    return pd.DataFrame(dict(zip(POINT_COLUMNS, columns, strict=True)))


def deviations_frame(map_: DeviationMap) -> pd.DataFrame:
    """The columns of deviations.csv, one row a course and ring."""
    return _frame(tables.deviations_csv(map_))


def layout_frame(plan: RebuildPlan) -> pd.DataFrame:
    """The columns of layout.csv, one row a brick."""
    return _frame(tables.layout_csv(plan))


def cuts_frame(plan: RebuildPlan) -> pd.DataFrame:
    """The columns of cuts.csv, one row a templet."""
    return _frame(tables.cuts_csv(plan))


def centring_frame(plan: RebuildPlan) -> pd.DataFrame:
    """The columns of centring.csv, one row an ordinate or course mark."""
    return _frame(tables.centring_csv(plan))


def laying_frame(plan: RebuildPlan) -> pd.DataFrame:
    """The columns of laying.csv, one row a brick in the order of laying."""
    return _frame(tables.laying_csv(plan))


def quantities_frame(plan: RebuildPlan) -> pd.DataFrame:
    """The columns of quantities.csv."""
    return _frame(tables.quantities_csv(plan))
