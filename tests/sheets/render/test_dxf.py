"""DXF read back: clean, in millimetres, with true arcs and ellipses on the curves they stand for."""

import io
import math

import ezdxf
import numpy as np
import pytest
from sheets.pictures import NASTY, everything

from survey.curves import curve_of, elliptical, five_centred, segmental, three_centred_sixty
from survey.sheets.drawing import Drawing, EllipticArc, Hatch, Layer, Polyline, Style
from survey.sheets.kit import ink
from survey.sheets.kit.outline import CHORD_TOLERANCE_MM, curve_primitives
from survey.sheets.render.dxf import render_dxf

SHAPES = [
    segmental(2400.0, 400.0, axis_x_mm=12.5),
    three_centred_sixty(2000.0, 600.0, tilt_rad=0.01),
    five_centred(3000.0, 1000.0, 717.0),
    elliptical(2000.0, 600.0, tilt_rad=-0.02),
    elliptical(900.0, 800.0, axis_x_mm=5.0),
]


def read(drawing, scale=10.0):
    document = ezdxf.read(io.StringIO(render_dxf(drawing, scale=scale)))
    auditor = document.audit()
    assert not auditor.errors
    assert not auditor.fixes
    return document


def test_units_and_layers():
    document = read(everything())
    assert document.header["$INSUNITS"] == 4
    assert document.header["$MEASUREMENT"] == 1
    assert {layer.value for layer in Layer} <= {layer.dxf.name for layer in document.layers}
    used = {entity.dxf.layer for entity in document.modelspace()}
    assert used <= {layer.value for layer in Layer}


@pytest.mark.parametrize("shape", SHAPES, ids=lambda s: f"{s.family}-{s.rise_mm:.0f}")
def test_curve_reads_back_as_true_entities_on_the_curve(shape):
    curve = curve_of(shape)
    document = read(Drawing("curve", curve_primitives(curve, ink.pen(Layer.CURVE))))
    entities = list(document.modelspace())
    kinds = {entity.dxftype() for entity in entities}
    assert kinds == ({"ARC"} if shape.radii_mm else {"ELLIPSE"})
    points = []
    for entity in entities:
        if entity.dxftype() == "ARC":
            sweep = (entity.dxf.end_angle - entity.dxf.start_angle) % 360.0
            points += entity.vertices(entity.dxf.start_angle + np.linspace(0.0, sweep, 40))
        else:
            points += entity.vertices(entity.params(40))
    located = curve.locate(np.array([(p.x, p.y) for p in points]))
    assert np.abs(located.distance_mm).max() < 1e-6
    assert located.station_mm.min() == pytest.approx(0.0, abs=1e-5)
    assert located.station_mm.max() == pytest.approx(curve.length_mm, abs=1e-5)


def test_parallel_of_an_ellipse_is_a_polyline_within_its_tolerance():
    parallel = curve_of(elliptical(2000.0, 600.0)).offset(240.0)
    (entity,) = read(Drawing("extrados", curve_primitives(parallel, ink.pen(Layer.CURVE)))).modelspace()
    assert entity.dxftype() == "LWPOLYLINE"
    points = np.array(entity.get_points("xy"))
    middles = (points[1:] + points[:-1]) / 2
    assert np.abs(parallel.locate(middles).distance_mm).max() <= CHORD_TOLERANCE_MM


def test_tall_ellipse_keeps_its_points_though_its_axes_change_places():
    arc = EllipticArc((3.0, 4.0), 400.0, 700.0, 0.3, 0.5, 2.5, Style(Layer.CURVE))
    (entity,) = read(Drawing("tall", (arc,))).modelspace()
    assert entity.dxf.ratio == pytest.approx(400.0 / 700.0)
    start, end = entity.start_point, entity.end_point
    for point, angle in ((start, 0.5), (end, 2.5)):
        u, v = 400.0 * math.cos(angle), 700.0 * math.sin(angle)
        assert point.x == pytest.approx(3.0 + u * math.cos(0.3) - v * math.sin(0.3))
        assert point.y == pytest.approx(4.0 + u * math.sin(0.3) + v * math.cos(0.3))


def test_nasty_words_carry_no_codes():
    texts = [e.dxf.text for e in read(everything(NASTY)).modelspace().query("TEXT")]
    (words,) = [t for t in texts if "script" in t]
    assert "%%" not in words
    assert "\\U" not in words
    assert "^J" not in words
    assert "ΔЖü" in words
    assert ezdxf.tools.text.plain_text(words) == words.replace("^ ", "^")


def test_lettering_and_marks_are_sized_for_the_plot_scale():
    for scale in (1.0, 20.0):
        space = read(everything(), scale).modelspace()
        assert {round(t.dxf.height / scale, 6) for t in space.query("TEXT")} == {2.0, 2.5, 3.0}
        assert [c.dxf.radius for c in space.query("CIRCLE")] == [scale]


def test_hatches_are_hatches_of_their_own():
    space = read(everything()).modelspace()
    names = [h.dxf.pattern_name for h in space.query("HATCH")]
    assert names == [h.value.upper() for h in Hatch if h is not Hatch.NONE]


@pytest.mark.parametrize(
    ("fill", "rgb", "index"),
    [(ink.GREY, (0x6E, 0x6E, 0x6E), None), (ink.ACCENT, (0xA3, 0x41, 0x2C), None), (ink.BLACK, None, 7)],
)
def test_dark_plain_fills_are_solid(fill, rgb, index):
    field = Polyline(((0.0, 0.0), (1.0, 0.0), (1.0, 1.0)), ink.area(Layer.BRICK, fill), closed=True)
    (hatch,) = read(Drawing("filled", (field,))).modelspace().query("HATCH")
    assert hatch.has_solid_fill
    assert hatch.rgb == rgb
    assert index is None or hatch.dxf.color == index
    assert hatch.dxf.layer == "brick"


@pytest.mark.parametrize("fill", [ink.WHITE, ink.WASH, ""])
def test_white_and_washed_fields_are_not_filled(fill):
    field = Polyline(((0.0, 0.0), (1.0, 0.0), (1.0, 1.0)), ink.area(Layer.BRICK, fill), closed=True)
    assert not read(Drawing("white", (field,))).modelspace().query("HATCH")


def test_same_drawing_same_text_and_the_library_is_left_as_it_was():
    option = ezdxf.options.write_fixed_meta_data_for_testing
    assert render_dxf(everything()) == render_dxf(everything())
    assert ezdxf.options.write_fixed_meta_data_for_testing == option


def test_fields_without_an_outline_leave_no_entity():
    pale = Style(Layer.JOINT, 0.0, "", fill=ink.WASH)
    field = Polyline(((0.0, 0.0), (1.0, 0.0), (1.0, 1.0)), pale, closed=True)
    assert not list(read(Drawing("pale", (field,))).modelspace())
