"""The fit sheet read back: residuals, interval and differences where the fit says; always legible."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from sheets.condition_cases import DEMOS, MOVES, demo, moved, nasty
from sheets.legibility import outside, overprints, said

from survey.curves import curve_of, segmental, semicircular, setting_out
from survey.curves.shape import Family
from survey.fitting.result import CourseCount, Estimate, Module, Verdict
from survey.sheets.drawing import Circle, Dash, Line, Placed, Polyline, Text
from survey.sheets.fit.fit_sheet import (
    BAND,
    DOT,
    RING,
    candidate_style,
    curve_interval_mm,
    difference_mm,
    fit_drawing,
    fit_sheet,
    fit_sheets,
)
from survey.sheets.fit_words import (
    FAMILY_NAMES,
    candidate_table,
    figure_table,
    figures_before_and_now,
    headline,
)
from survey.sheets.kit.lettering import text_box
from survey.sheets.kit.placing import DASHES_MM, extent, on_paper

LONGEST_MM = 14.0


def any_case(name):
    return demo(name) if name in DEMOS else moved(name) if name in MOVES else nasty()[name]


ALL = [*DEMOS, *nasty(), *MOVES]
EVERY = pytest.mark.parametrize("name", ALL)


@EVERY
def test_no_text_over_another_and_all_inside_the_frame(name):
    made = any_case(name)
    for sheet in fit_sheets(made.record, made.fit):
        assert overprints(sheet) == []
        assert outside(sheet, 10.5) == []


@EVERY
def test_the_drawing_stays_within_its_part_of_the_sheet(name):
    made = any_case(name)
    sheet = fit_sheet(made.record, made.fit)
    drawn = extent(on_paper(sheet.placed[0]))
    assert drawn.left > 20.0
    assert drawn.right < 284.0
    assert drawn.top < 287.0


@EVERY
@pytest.mark.parametrize("factor", [5, 20])
def test_residuals_stand_off_the_curve_by_the_factor_or_are_cut_and_told(name, factor):
    made, scale = any_case(name), 10.0
    curve, points = curve_of(made.fit.best.shape), made.fit.points
    drawing = fit_drawing(made.fit, scale, factor)
    dots = [m for m in drawing.primitives if isinstance(m, Circle)]
    whiskers = [m for m in drawing.primitives if isinstance(m, Line)]
    assert len(dots) == len(whiskers) == len(points.name)
    most = LONGEST_MM * scale
    wanted = np.clip(factor * points.deviation_mm, -most, most)
    feet = np.array([w.start for w in whiskers])
    assert feet == pytest.approx(curve.point(points.station_mm), abs=1e-6)
    off = np.array([d.centre for d in dots]) - feet
    along = np.einsum("ij,ij->i", off, curve.normal(points.station_mm))
    assert along == pytest.approx(wanted, abs=1e-6)
    assert np.hypot(*off.T) == pytest.approx(np.abs(wanted), abs=1e-6)
    cut = np.abs(factor * points.deviation_mm) > most
    ringed = np.array([d.style == RING for d in dots])
    assert (ringed == (cut | points.set_aside)).all()
    assert all(d.style in (DOT, RING) for d in dots)


def test_a_point_set_aside_is_named_with_its_figure():
    made = nasty()["small, gross readings"]
    aside = np.flatnonzero(made.fit.points.set_aside)
    assert len(aside)
    texts = {m.text for m in fit_drawing(made.fit, 5.0, 10).primitives if isinstance(m, Text)}
    for i in aside:
        value = f"{made.fit.points.deviation_mm[i]:.0f}".replace("-", "−")
        assert f"{made.fit.points.name[i]} {value}" in texts
    words = said(fit_sheets(made.record, made.fit))
    assert f"Set aside as gross: {', '.join(made.fit.points.name[i] for i in aside)}." in words


@pytest.mark.parametrize("name", DEMOS)
def test_candidates_too_far_off_are_named_instead_of_drawn(name):
    made = demo(name)
    sheet = fit_sheet(made.record, made.fit)
    words, scale = said((sheet,)), sheet.placed[0].scale
    station = np.linspace(0.0, curve_of(made.fit.best.shape).length_mm, 361)
    for family, candidate in made.fit.candidates.items():
        if family is made.fit.chosen or not candidate.converged:
            continue
        apart = np.abs(difference_mm(made.fit.best.shape, candidate.shape, station)).max()
        far = apart > LONGEST_MM * scale
        assert (f"{FAMILY_NAMES[family]} (up to {apart:.0f} mm)" in words) == far
        styles = {m.style for m in sheet.placed[0].drawing.primitives}
        keyed = {m.style for m in sheet.primitives if isinstance(m, Line)}
        traced = {m.style for m in sheet.primitives if isinstance(m, Polyline)}
        style = candidate_style(made.fit, family)
        assert (style in keyed) == (style in styles | traced)
        assert (candidate_style(made.fit, family) in styles) != far


def test_differences_are_distances_to_the_other_curve():
    """Concentric semicircles differ by their radii; positive where the other lies outside."""
    station = np.linspace(0.0, 1000.0 * math.pi, 9)
    assert difference_mm(semicircular(1000.0), semicircular(1012.0), station) == pytest.approx(12.0)
    flat = segmental(2000.0, 300.0)
    assert difference_mm(semicircular(1000.0), flat, station[[4]])[0] == pytest.approx(-700.0)


def test_the_interval_is_the_propagated_uncertainty_of_the_curve():
    """At the crown of a segmental arch only springing level and rise move it, at the springing all but the
    rise: the half-span and the axis along the normal's level part, the level along its plumb part."""
    made = nasty()["ten to one"]
    curve = curve_of(made.fit.best.shape)
    variance = np.diag(made.fit.best.covariance)
    axis, level, half, rise = variance
    (crown,) = curve_interval_mm(made.fit.best, np.array([curve.length_mm / 2]))
    assert crown == pytest.approx(1.96 * math.sqrt(level + rise))
    x, y = curve.normal(0.0)
    (springing,) = curve_interval_mm(made.fit.best, np.array([0.0]))
    assert springing == pytest.approx(1.96 * math.sqrt(x**2 * (axis + half) + y**2 * level))


def test_no_interval_is_made_up_of_a_variance_that_is_none():
    best = nasty()["ten to one"].fit.best
    wrong = replace(best, covariance=-best.covariance)
    assert np.isnan(curve_interval_mm(wrong, np.array([0.0, 10.0]))).all()


@pytest.mark.parametrize("name", ["ten to one", "low ellipse", "160 courses, five rings"])
def test_the_interval_is_drawn_about_zero_in_both_strips(name):
    made = nasty()[name]
    sheet = fit_sheet(made.record, made.fit)
    fields = [m for m in sheet.primitives if isinstance(m, Polyline) and m.style == BAND]
    assert len(fields) == 2
    for field in fields:
        y = np.array(field.points)[:, 1].reshape(2, -1)
        middle = (y[0] + y[1, ::-1]) / 2
        assert middle == pytest.approx(middle[0])


def test_an_interval_the_fit_cannot_tell_is_not_drawn():
    made = nasty()["ten to one"]
    best = replace(made.fit.best, covariance=np.full((4, 4), np.nan))
    fit = replace(made.fit, candidates={made.fit.chosen: best})
    sheet = fit_sheet(made.record, fit)
    assert not [m for m in sheet.primitives if isinstance(m, Polyline) and m.style == BAND]
    assert overprints(sheet) == []


def test_one_candidate_alone_has_a_sheet_and_the_others_their_reasons():
    made = nasty()["one candidate"]
    words = said(fit_sheets(made.record, made.fit))
    assert "There is no other candidate to compare" in words
    assert "Verdict: cannot tell; likeliest segmental" in words
    for family in Family:
        if family is not made.fit.chosen:
            assert f"{FAMILY_NAMES[family]}: An endless sentence" in words
    rows = {row[0]: row[4] for row in candidate_table(made.fit).rows}
    assert rows["semicircular"] == "did not fit"


@pytest.mark.parametrize(
    ("family", "clear", "words"),
    [
        (None, True, "Verdict: none of these families"),
        (Family.ELLIPTICAL, True, "Verdict: elliptical"),
        (Family.FIVE_CENTRED, False, "Verdict: cannot tell; likeliest five-centred"),
    ],
)
def test_the_verdict_in_a_few_words(family, clear, words):
    fit = replace(demo("loft_window").fit, verdict=Verdict(family, clear, {}, "", 0.0))
    assert headline(fit) == words
    if family is not None:
        has_moved = replace(fit, movement=moved(next(iter(MOVES))).fit.movement)
        assert headline(has_moved) == f"{words}, and it has moved"


@pytest.mark.parametrize("name", DEMOS)
def test_figures_are_printed_with_their_interval(name):
    best = demo(name).fit.best
    rows = {row[0]: row[1:] for row in figure_table(best, "Figures").rows}
    rise = best.figures["rise_mm"]
    low, high = rise.value - 1.96 * rise.sigma, rise.value + 1.96 * rise.sigma
    assert rows["rise"] == (f"{rise.value:.1f}", f"{rise.sigma:.2f}", f"{low:.1f} to {high:.1f}")
    assert "tilt, degrees" not in rows
    n_radii = len(best.shape.radii_mm)
    assert sum(name.startswith("radius") for name in rows) == n_radii


@pytest.mark.parametrize("name", list(MOVES))
def test_a_moved_arch_shows_its_figures_before_and_now(name):
    made = moved(name)
    words = said(fit_sheets(made.record, made.fit))
    assert "It has moved (probability 99 %). It moved." in words
    assert "Candidates for the shape as it stands, mm" in words
    original, now = made.fit.movement.original, made.fit.best
    table = figures_before_and_now(original, now)
    assert table.title in words
    rows = {row[0]: row[1:] for row in table.rows}
    for name, label in (("half_span_mm", "half-span"), ("rise_mm", "rise")):
        if label in rows:
            assert rows[label][0] == f"{original.figures[name].value:.1f}"
            assert rows[label][3] == f"{now.figures[name].value:.1f}"


@pytest.mark.parametrize("name", list(MOVES))
def test_a_moved_arch_tells_how_it_was_struck_before_and_how_it_stands(name):
    made = moved(name)
    words = said(fit_sheets(made.record, made.fit))
    titles = (
        "How the arch was struck before it moved",
        "How a curve through the shape as it stands is struck",
    )
    before, now = (words.index(title) for title in titles)
    assert before < now
    for shape, part in (
        (made.fit.movement.original.shape, words[before:now]),
        (made.fit.best.shape, words[now:]),
    ):
        assert all(sentence in part for sentence in setting_out(shape).sentences())


def test_a_moved_arch_of_another_family_than_it_seems_shows_both_sets_of_figures():
    original, now = demo("loft_window").fit.best, demo("cellar_doorway").fit.best  # an arc, and an ellipse
    rows = {row[0]: row for row in figures_before_and_now(original, now).rows}
    assert rows["half-span"][4] == f"{now.figures['half_span_mm'].value:.1f}"
    assert all(len(row) == 6 for row in rows.values())
    assert rows["radius"][4:] == ("", "")


def test_a_curve_of_no_family_is_called_the_nearest():
    made = demo("cellar_doorway")
    fit = replace(made.fit, verdict=Verdict(None, True, {}, "None fits.", None), movement=None)
    words = said(fit_sheets(made.record, fit))
    assert "Figures of the nearest curve, mm" in words
    assert "How the nearest curve is struck" in words
    assert "(nearest)" in words


def test_the_lines_of_the_five_families_are_five_patterns():
    fit = demo("cellar_doorway").fit
    others = [f for f in Family if f is not fit.chosen]
    missing = replace(fit, chosen=others[0])
    dashes = {f: candidate_style(missing if f is fit.chosen else fit, f).dash for f in Family}
    assert len(set(dashes.values())) == len(Family)
    assert len({DASHES_MM[dash] for dash in dashes.values()}) == len(Family)


@EVERY
def test_names_of_points_keep_off_the_chosen_curve(name):
    made, scale = any_case(name), 10.0
    drawing = fit_drawing(made.fit, scale, 5)
    curve = curve_of(made.fit.best.shape)
    on_curve = curve.point(np.linspace(0.0, curve.length_mm, 2001)) / scale
    names = [m for m in on_paper(Placed(drawing, (0.0, 0.0), (0.0, 0.0), scale)) if isinstance(m, Text)]
    over = [t.text for t in names if _inside(text_box(t), on_curve).any()]
    assert len(over) <= len(names) // 3  # only where a crowd leaves no other place


def _inside(box, xy):
    return (xy[:, 0] > box.left) & (xy[:, 0] < box.right) & (xy[:, 1] > box.bottom) & (xy[:, 1] < box.top)


def test_unit_counts_and_doubts_are_said():
    fit = demo("cellar_doorway").fit
    unit = Module(278.6, 0.4, "Castilian foot", "a table", 5.0, 2.0, 0.012)
    counts = (CourseCount(1, 33, False, {33: 0.9}, doubt="The rhythm says 34."),)
    fit = replace(fit, module=unit, courses=counts, notes=("It cannot know the tilt.",))
    words = said(fit_sheets(demo("cellar_doorway").record, fit))
    assert "units of 278.6 ± 0.4 mm (Castilian foot): span 5.00, rise 2.00; such a match comes" in words
    assert "by chance in 1.2 %" in words
    assert "Ring 1: 33 courses, inferred from the rhythm." in words
    assert "The rhythm says 34." in words
    assert "It cannot know the tilt." in words


def test_many_points_set_aside_are_counted():
    made = nasty()["ten to one"]
    points = replace(made.fit.points, set_aside=np.ones(len(made.fit.points.name), dtype=bool))
    words = said(fit_sheets(made.record, replace(made.fit, points=points)))
    assert f"P12 and {len(points.name) - 12} more." in words


def test_a_handbook_construction_is_named():
    made = nasty()["ten to one"]
    best = replace(made.fit.best, construction="thirds", figures={"rise_mm": Estimate(200.0, 0.0)})
    words = said(fit_sheets(made.record, replace(made.fit, candidates={made.fit.chosen: best})))
    assert "It agrees with a handbook construction: thirds." in words
    assert "Figures of the chosen curve" not in words


@EVERY
def test_a_springing_line_out_of_level_has_the_level_drawn_and_its_fall_told(name):
    """The fall follows from span and tilt: drawn dotted through the lower end, told to a millimetre."""
    fit = any_case(name).fit
    shape = fit.best.shape
    fall = 2.0 * shape.half_span_mm * math.sin(shape.tilt_rad)
    drawing = fit_drawing(fit, 10.0, 10.0)
    dotted = [m for m in drawing.primitives if isinstance(m, Line) and m.style.dash is Dash.DOTTED]
    words = [t.text for t in drawing.primitives if isinstance(t, Text) and "level" in t.text]
    if abs(fall) < 0.5:
        assert (dotted, words) == ([], [])
        return
    (line,) = dotted
    assert line.start[1] == line.end[1] == pytest.approx(shape.springing_y_mm - abs(fall) / 2.0)
    side = "right" if fall > 0 else "left"
    assert all(f"{side} springing {abs(fall):.0f} higher" in told for told in words)
    assert len(words) <= 1
