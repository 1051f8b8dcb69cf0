"""fit.json and rebuild.json: the fit and the plan as JSON text, lengths in mm and angles in degrees."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from survey.curves import ArchShape, Family, setting_out

if TYPE_CHECKING:
    from survey.condition.comparing.compare import Comparison
    from survey.curves.displaced import DisplacedCurve
    from survey.curves.protocol import Floats
    from survey.fitting.result import (
        ArchFit,
        Candidate,
        Collar,
        CourseCount,
        Estimate,
        Module,
        Movement,
        UnseenMovement,
        Verdict,
    )
    from survey.rebuild.plan import RebuildPlan, RingPlan

Json = dict[str, Any]


DIGITS = 9
"""Decimals of a length in mm or an angle in degrees: what lies below is the rounding of the computation."""
UNCORRELATED = 1e-12
"""Correlations below this are rounding as well."""


def _finite(value: float | None) -> float | None:
    """JSON has no NaN: an unknown figure is null."""
    return float(value) if value is not None and math.isfinite(value) else None


def _meant(value: float) -> float:
    """A length in mm or an angle in degrees without the rounding of its computation; never a minus zero."""
    return round(float(value), DIGITS) + 0.0


def _all_meant(values: ArrayLike) -> Any:
    """The same of an array, as nested lists."""
    return (np.round(np.asarray(values, dtype=float), DIGITS) + 0.0).tolist()


def _length(value: float | None) -> float | None:
    """A length in mm or an angle in degrees that may be unknown."""
    known = _finite(value)
    return None if known is None else _meant(known)


def _estimate(estimate: Estimate, *, scale: float = 1.0) -> Json:
    return {"value": _length(estimate.value * scale), "sigma": _length(estimate.sigma * scale)}


def _in_degrees(name: str) -> tuple[str, float]:
    """Name and factor that turn a figure in radians into one in degrees."""
    if name.endswith("_rad"):
        return name.removesuffix("_rad") + "_deg", math.degrees(1.0)
    return name, 1.0


def _shape(shape: ArchShape) -> Json:
    """Setting-out facts of a shape, as they apply to its family."""
    facts = setting_out(shape)
    out: Json = {}
    if shape.radii_mm:
        out["radii_mm"] = _all_meant(shape.radii_mm)
        out["sector_angles_deg"] = _all_meant(np.degrees(shape.sector_angles_rad))
        out["centres_mm"] = _all_meant(facts.centres_mm)
    if shape.family is Family.ELLIPTICAL:
        out["foci_mm"] = _all_meant(facts.foci_mm)
        out["string_length_mm"] = _length(facts.string_mm)
    out["length_mm"] = _meant(facts.length_mm)
    return out


def _candidate(candidate: Candidate) -> Json:
    figures = {}
    for name, estimate in candidate.figures.items():
        shown, scale = _in_degrees(name)
        figures[shown] = _estimate(estimate, scale=scale)
    names, scales = [], []
    for name in candidate.parameters:
        shown, scale = _in_degrees(name)
        names.append(shown)
        scales.append(scale)
    covariance = _correlated(np.asarray(candidate.covariance, dtype=float) * np.outer(scales, scales))
    return {
        "family": str(candidate.family),
        **figures,
        **(_shape(candidate.shape) if candidate.converged else {}),
        "rms_mm": _length(candidate.rms_mm),
        "covariance": [[_finite(v) for v in row] for row in covariance],
        "parameters": names,
        "converged": candidate.converged,
        "because": candidate.because,
        "construction": candidate.construction,
        "log_evidence": _finite(candidate.log_evidence),
    }


def _correlated(covariance: Floats) -> Floats:
    """The covariance (k, k) with those entries 0 that are but rounding beside their variances."""
    size = np.sqrt(np.abs(np.diag(covariance)))
    return np.where(np.abs(covariance) <= UNCORRELATED * np.outer(size, size), 0.0, covariance)


def _verdict(verdict: Verdict) -> Json:
    return {
        "family": None if verdict.family is None else str(verdict.family),
        "clear": verdict.clear,
        "probability": {str(f): _finite(p) for f, p in verdict.probability.items()},
        "none_of_these": max(0.0, 1.0 - math.fsum(verdict.probability.values())),
        "because": verdict.because,
        "largest_difference_mm": _length(verdict.largest_difference_mm),
    }


def _movement(movement: Movement | None) -> Json | None:
    if movement is None:
        return None
    return {
        "spread_mm": _estimate(movement.spread_mm),
        "settlement_mm": _estimate(movement.settlement_mm),
        "crown_drop_mm": _estimate(movement.crown_drop_mm),
        "hinges": [
            {
                "station_mm": _length(hinge.station_mm.value),
                "station_sigma_mm": _length(hinge.station_mm.sigma),
                "opens": str(hinge.opens),
                "rotation_deg": _estimate(hinge.rotation_rad, scale=math.degrees(1.0)),
                "x_mm": _meant(hinge.x_mm),
                "y_mm": _meant(hinge.y_mm),
                "where": hinge.where,
            }
            for hinge in movement.hinges
        ],
        "pieces": [
            {
                "start_mm": _meant(piece.start_mm),
                "end_mm": _meant(piece.end_mm),
                "rotation_deg": _meant(math.degrees(piece.rotation_rad)),
                "shift_mm": _all_meant(piece.shift_mm),
            }
            for piece in movement.pieces
        ],
        "original": _candidate(movement.original),
        "probability": movement.probability,
        "rms_before_mm": _length(movement.rms_before_mm),
        "rms_after_mm": _length(movement.rms_after_mm),
        "because": movement.because,
    }


def _unseen(unseen: UnseenMovement | None) -> Json | None:
    """Sizes of movement that might not show; null for a size where none is large enough to."""
    if unseen is None:
        return None
    return {"spread_mm": _finite(unseen.spread_mm), "settlement_mm": _finite(unseen.settlement_mm)}


def _module(module: Module | None) -> Json | None:
    if module is None:
        return None
    return {
        "unit_mm": module.unit_mm,
        "unit_sigma_mm": module.unit_sigma_mm,
        "name": module.name,
        "source": module.source,
        "span_units": module.span_units,
        "rise_units": module.rise_units,
        "chance_probability": module.chance_probability,
    }


def _collar(collar: Collar) -> Json:
    """The collar joint of a ring: the one used, the one given, and what the survey makes it."""
    measured = collar.measured
    return {
        "ring": collar.ring,
        "used_mm": collar.used_mm,
        "given_mm": collar.given_mm,
        "measured_mm": None if measured is None else {"value": measured.value, "sigma": measured.sigma},
        "n_points": collar.n_points,
        "doubtful": collar.doubtful,
    }


def _count(count: CourseCount) -> Json:
    return {
        "ring": count.ring,
        "count": count.count,
        "counted": count.counted,
        "probability": _counts(count.probability),
        "gaps": [
            {
                "after_course": gap.after_course,
                "before_course": gap.before_course,
                "station_start_mm": gap.station_start_mm,
                "station_end_mm": gap.station_end_mm,
                "count": gap.count,
                "probability": _counts(gap.probability),
            }
            for gap in count.gaps
        ],
        "doubt": count.doubt,
    }


def _axis(direction: Floats) -> list[float]:
    """A unit vector without the rounding of its computation: over 100 m it shifts nothing by a nanometre."""
    return [float(v) for v in np.round(direction, 14) + 0.0]


def _counts(probability: Mapping[int, float]) -> Json:
    return {str(n): _finite(p) for n, p in probability.items()}


def fit_json(fit: ArchFit) -> str:
    """Text of fit.json. ``courses`` is the innermost ring's count, ``all_rings`` every ring's."""
    names = np.asarray(fit.points.name, dtype=object)
    counts = [_count(count) for count in fit.courses]
    content: Json = {
        "record": fit.record_name,
        "frame": {
            "origin": _all_meant(fit.frame.origin_mm),
            "x_axis": _axis(fit.frame.x_axis),
            "y_axis": _axis(fit.frame.y_axis),
            "w_axis": _axis(fit.frame.w_axis),
        },
        "verdict": _verdict(fit.verdict),
        "chosen": str(fit.chosen),
        "candidates": {str(family): _candidate(c) for family, c in fit.candidates.items()},
        "points": {
            "used": int(np.count_nonzero(~fit.points.set_aside)),
            "down_weighted": list(fit.points.down_weighted),
            "set_aside": names[fit.points.set_aside].tolist(),
        },
        "irregularity_mm": _finite(fit.irregularity_mm),
        "correlation_length_mm": _finite(fit.correlation_length_mm),
        "n_effective": _finite(fit.n_effective),
        "movement": _movement(fit.movement),
        "unseen_movement": _unseen(fit.unseen_movement),
        "hangs_smoothly": _finite(fit.hangs_smoothly),
        "module": _module(fit.module),
        "courses": counts[0] if counts else None,
        "all_rings": counts,
        "collars": [_collar(collar) for collar in fit.collars],
        "notes": list(fit.notes),
    }
    return json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _ring(ring: RingPlan) -> Json:
    """A ring; in a repair its inner curve is led beside the fitted one by ``displacement``."""
    out: Json = {
        "ring": ring.ring,
        "count": ring.count,
        "counted": ring.counted,
        "laid": sum(brick.laid for brick in ring.bricks),
        "to_lay": sum(brick.to_lay for brick in ring.bricks),
        "joint_min_mm": ring.joint_min_mm,
        "joint_max_mm": ring.joint_max_mm,
        "closure_mm": _finite(ring.closure_mm),
        "length_mm": ring.inner.length_mm,
        "depth_mm": ring.depth_mm,
        "depth_gauge_mm": ring.depth_gauge_mm,
        "sawtooth": ring.sawtooth,
        "turn_deg": math.degrees(ring.turn_rad),
        "joint_limits_default": list(ring.default_limits),
    }
    from survey.curves.displaced import DisplacedCurve  # not loaded where only a fit is written

    if isinstance(ring.inner, DisplacedCurve):
        out["displacement"] = _displacement(ring.inner, ring.depth_gauge_mm - ring.depth_mm)
    return out


def _displacement(led: DisplacedCurve, base_offset_mm: float) -> Json:
    """How a led curve runs beside its base, with all that another program needs to draw it."""
    return {
        "kind": "clamped_cubic_spline",
        "base": "curve",
        "base_offset_mm": base_offset_mm,
        "station_unit": "mm",
        "offset_unit": "mm",
        "end_slopes": [0.0, 0.0],
        "stations_mm": np.asarray(led.stations_mm, dtype=float).tolist(),
        "offsets_mm": np.asarray(led.offsets_mm, dtype=float).tolist(),
        "parallel_mm": led.parallel_mm,
        "how": (
            "The base is the parallel of curve, base_offset_mm outwards. Each point of the ring's inner "
            "curve lies on the base's normal, outwards by an offset that is a cubic spline of the station "
            "(arc length along the base from its left springing, mm) through stations_mm and offsets_mm, "
            "with continuous second derivative and slope 0 at its first and last knot, and constant beyond "
            "them. Where two arcs of the base meet, the stations behind are stretched by the ratio of "
            "1 + k D after to before, k the arc's curvature and D the offset there, so that the led curve "
            "keeps its tangent. The whole is then drawn parallel_mm further outwards along its own normals."
        ),
    }


def rebuild_json(plan: RebuildPlan) -> str:
    """Text of rebuild.json."""
    shape = plan.shape
    content: Json = {
        "scope": str(plan.scope),
        "choice": plan.choice,
        "curve": {
            "family": str(shape.family),
            "half_span_mm": _meant(shape.half_span_mm),
            "rise_mm": _meant(shape.rise_mm),
            "springing_y_mm": _meant(shape.springing_y_mm),
            "axis_x_mm": _meant(shape.axis_x_mm),
            "tilt_deg": _meant(math.degrees(shape.tilt_rad)),
            **_shape(shape),
        },
        "rings": [_ring(ring) for ring in plan.rings],
        "refusals": list(plan.refusals),
        "warnings": list(plan.warnings),
        "cautions": list(plan.cautions),
        "notes": list(plan.notes),
    }
    return json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def comparison_json(comparison: Comparison) -> str:
    """Text of comparison.json: what moved between two surveys, and how they were tied."""
    content: Json = {
        "record_a": comparison.record_a,
        "record_b": comparison.record_b,
        "tied_by": str(comparison.tie.by),
        "spread_mm": _estimate(comparison.spread_mm),
        "settlement_mm": _estimate(comparison.settlement_mm),
        "crown_drop_mm": _estimate(comparison.crown_drop_mm),
        "courses_compared": len(comparison.courses),
        "courses_moved": [[c.ring, c.course] for c in comparison.courses if c.moved],
        "sentences": list(comparison.sentences),
    }
    return json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
