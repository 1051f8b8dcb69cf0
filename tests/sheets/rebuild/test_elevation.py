"""The elevation of a repair: the fitted curves beside the led soffit, as true entities in its DXF."""

from __future__ import annotations

import io
from dataclasses import replace

import ezdxf
import numpy as np
import pytest
from sheets.handmade import handmade

from survey.curves import DisplacedCurve, curve_of, elliptical, five_centred, segmental, three_centred_sixty
from survey.sheets.drawing import Polyline, Text
from survey.sheets.kit import ink
from survey.sheets.kit.brickwork import STATE_STYLES, BrickState
from survey.sheets.rebuild.elevation import elevation_drawing, fitted_curves
from survey.sheets.rebuild.elevation_sheet import elevation_pages
from survey.sheets.render.dxf import render_dxf

SHAPES = [
    segmental(2400.0, 400.0, axis_x_mm=12.5),
    three_centred_sixty(2600.0, 800.0, tilt_rad=0.01),
    five_centred(3000.0, 1000.0, 717.0),
    elliptical(2200.0, 720.0, tilt_rad=-0.02),
]
EVERY = pytest.mark.parametrize("shape", SHAPES, ids=lambda s: str(s.family))


def led(shape):
    """A plan whose soffit is led up to 6 mm beside the fitted curve."""
    made = handmade(shape)
    base = curve_of(shape)
    stations = np.linspace(0.0, base.length_mm, 9)
    inner = DisplacedCurve(base, stations, 6.0 * np.sin(stations / 200.0))
    first = replace(made.plan.rings[0], inner=inner)
    return made, replace(made.plan, rings=(first, *made.plan.rings[1:]))


def layer_of(drawing, layer):
    document = ezdxf.read(io.StringIO(render_dxf(drawing)))
    assert not document.audit().errors
    return list(document.modelspace().query(f'*[layer=="{layer}"]'))


def points_of(entities):
    """Points along entities as another program reads them."""
    points = []
    for entity in entities:
        match entity.dxftype():
            case "ARC":
                sweep = (entity.dxf.end_angle - entity.dxf.start_angle) % 360.0
                points += [
                    (p.x, p.y) for p in entity.vertices(entity.dxf.start_angle + np.linspace(0, sweep, 60))
                ]
            case "ELLIPSE":
                points += [(p.x, p.y) for p in entity.vertices(entity.params(60))]
            case "LWPOLYLINE":
                points += list(entity.get_points("xy"))
    return np.array(points)


@EVERY
def test_the_fitted_intrados_of_a_repair_reads_back_as_true_entities(shape):
    made, plan = led(shape)
    entities = layer_of(elevation_drawing(made.record, plan, 10.0), "fitted_intrados")
    assert {e.dxftype() for e in entities} == ({"ARC"} if shape.radii_mm else {"ELLIPSE"})
    curve = curve_of(shape)
    located = curve.locate(points_of(entities))
    assert np.abs(located.distance_mm).max() < 1e-6
    assert (located.station_mm.min(), located.station_mm.max()) == pytest.approx(
        (0.0, curve.length_mm), abs=1e-5
    )


@EVERY
def test_the_fitted_extrados_lies_a_gauge_outside_it(shape):
    made, plan = led(shape)
    entities = layer_of(elevation_drawing(made.record, plan, 10.0), "fitted_extrados")
    assert {e.dxftype() for e in entities} == ({"ARC"} if shape.radii_mm else {"LWPOLYLINE"})
    distance = curve_of(shape).locate(points_of(entities)).distance_mm
    assert distance == pytest.approx(plan.rings[-1].depth_gauge_mm, abs=1e-6)


def test_the_led_soffit_stands_beside_it_as_it_is_built():
    made, plan = led(SHAPES[3])
    drawing = elevation_drawing(made.record, plan, 10.0)
    inner = plan.rings[0].inner
    (soffit,) = (
        e for e in layer_of(drawing, "curve") if np.abs(inner.locate(points_of([e])).distance_mm).max() < 1.0
    )
    assert soffit.dxftype() == "LWPOLYLINE"
    assert np.abs(inner.locate(points_of([soffit])).distance_mm).max() < 1e-6
    assert np.abs(inner.base.locate(points_of([soffit])).distance_mm).max() > 4.0


def test_a_whole_rebuild_has_its_curve_once():
    made = handmade()
    assert fitted_curves(made.plan) == ()
    drawing = elevation_drawing(made.record, made.plan, 10.0)
    assert layer_of(drawing, "fitted_intrados") == []
    assert "ELLIPSE" in {e.dxftype() for e in layer_of(drawing, "curve")}


def test_the_key_tells_the_two_curves_apart():
    made, plan = led(SHAPES[0])
    for drawn, there in ((plan, True), (made.plan, False)):
        (page,) = elevation_pages(made.record, made.fit, drawn)
        words = {m.text for m in page.primitives if isinstance(m, Text)}
        assert ("fitted curve; the soffit is led beside it" in words) == there


def with_laid(plan, *courses):
    """The plan with some bricks of its first ring laid."""
    first = plan.rings[0]
    bricks = tuple(replace(b, laid=True) if b.course in courses else b for b in first.bricks)
    return replace(plan, rings=(replace(first, bricks=bricks), *plan.rings[1:]))


def test_laid_bricks_have_a_fill_of_their_own_and_the_key_names_it_only_then():
    made = handmade()
    for plan, laid in ((made.plan, set()), (with_laid(made.plan, 10, 11), {"10", "11"})):
        (page,) = elevation_pages(made.record, made.fit, plan)
        words = {m.text for m in page.primitives if isinstance(m, Text)}
        assert ("laid already" in words) == bool(laid)
        marks = elevation_drawing(made.record, plan, 10.0).primitives
        fill = STATE_STYLES[BrickState.LAID].fill
        filled = {m.tag for m in marks if isinstance(m, Polyline) and m.style.fill == fill}
        assert filled == {f"ring-1-course-{course}" for course in laid}


def test_laid_bricks_are_filled_in_the_dxf():
    made = handmade()
    drawing = elevation_drawing(made.record, with_laid(made.plan, 10, 11), 10.0)
    hatches = [h for h in layer_of(drawing, "brick") if h.dxftype() == "HATCH"]
    solid = [h for h in hatches if h.has_solid_fill]
    assert [h.rgb for h in solid] == [ink.red_green_blue(STATE_STYLES[BrickState.LAID].fill)] * 2
