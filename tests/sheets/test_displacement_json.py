"""The led soffit of a repair, drawn anew from rebuild.json alone by other means."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from rebuild.factory import edge_survey, fit, joined, lay, notes_from, record, ring
from scipy.integrate import cumulative_simpson
from scipy.interpolate import CubicSpline

from survey.curves import curve_of, elliptical, segmental
from survey.rebuild import RebuildPlan, plan_rebuild
from survey.sheets.results.result_json import rebuild_json

N = 43


def repair(shape) -> RebuildPlan:
    """Two rings off their curve by a slow wave, with a gap in each."""
    missing = (14, 15, 16)
    there = ~np.isin(np.arange(1, N + 1), missing)
    curve = curve_of(shape)
    outer = curve.offset(250.0)
    off = 4.0 * np.sin(np.arange(N) / 6.0)
    first = lay(curve.length_mm, np.full(N, 50.0), np.ones(N + 1))
    second = lay(outer.length_mm, np.full(N, 60.0), np.ones(N + 1))
    rec = record(
        (ring(1, N), ring(2, N, brick_width_mm=60.0, collar_mm=10.0)),
        points=joined(
            edge_survey(curve, first, there=there, off_mm=off),
            edge_survey(outer, second, ring=2, there=there, off_mm=off),
        ),
        courses=(*notes_from(first, missing=missing), *notes_from(second, ring=2, missing=missing)),
    )
    return plan_rebuild(rec, fit(shape, rec))


def ellipse_base(curve: dict, t: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Points and outward normals of an ellipse from its left springing, by the eccentric angle."""
    a, b = curve["half_span_mm"], curve["rise_mm"]
    xy = np.column_stack([-a * np.cos(t), b * np.sin(t)])
    out = np.column_stack([-b * np.cos(t), a * np.sin(t)])
    return xy, out / np.linalg.norm(out, axis=1, keepdims=True)


def circle_base(curve: dict, t: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The same of a segment, by the share of its sweep."""
    s, h = curve["half_span_mm"], curve["rise_mm"]
    radius = (s * s + h * h) / (2.0 * h)
    half = np.arcsin(s / radius)
    angle = -half + 2.0 * half * t / np.pi
    out = np.column_stack([np.sin(angle), np.cos(angle)])
    return radius * out + [0.0, h - radius], out


@pytest.mark.parametrize(
    ("shape", "base"), [(elliptical(2600.0, 700.0), ellipse_base), (segmental(2600.0, 500.0), circle_base)]
)
def test_the_led_soffit_can_be_drawn_from_the_file(shape, base):
    plan = repair(shape)
    content = json.loads(rebuild_json(plan))
    for told, planned in zip(content["rings"], plan.rings, strict=True):
        led = told["displacement"]
        assert (led["kind"], led["base"]) == ("clamped_cubic_spline", "curve")
        assert (led["station_unit"], led["offset_unit"], led["end_slopes"]) == ("mm", "mm", [0.0, 0.0])
        t = np.linspace(0.0, np.pi, 20001)
        xy, normal = base(content["curve"], t)
        xy = xy + led["base_offset_mm"] * normal
        step = np.linalg.norm(np.gradient(xy, t, axis=0, edge_order=2), axis=1)
        station = np.concatenate([[0.0], cumulative_simpson(step, x=t)])
        spline = CubicSpline(led["stations_mm"], led["offsets_mm"], bc_type="clamped")
        offset = spline(np.clip(station, led["stations_mm"][0], led["stations_mm"][-1]))
        assert np.ptp(offset) > 4.0
        drawn = xy + offset[:, None] * normal
        assert led["parallel_mm"] == 0.0
        assert np.abs(planned.inner.locate(drawn[::100]).distance_mm).max() < 1e-4
        assert told["length_mm"] == pytest.approx(
            np.linalg.norm(np.diff(drawn, axis=0), axis=1).sum(), abs=1e-3
        )


def test_default_limits_stand_with_each_ring():
    plan = repair(segmental(2600.0, 500.0))
    told = json.loads(rebuild_json(plan))["rings"]
    assert [r["joint_limits_default"] for r in told] == [[], []]
    rings = tuple(replace(r, default_limits=("min", "max")) for r in plan.rings)
    told = json.loads(rebuild_json(replace(plan, rings=rings)))["rings"]
    assert [r["joint_limits_default"] for r in told] == [["min", "max"]] * 2
