"""The drawing model on axes: the artists returned carry the drawing's own numbers."""

import math

import numpy as np
import pytest
from matplotlib import lines, patches, text
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from sheets.pictures import NASTY, everything

from survey.sheets.drawing import Arc, Drawing, EllipticArc, Hatch, Layer
from survey.sheets.kit import ink
from survey.sheets.kit.placing import arc_points, exploded
from survey.sheets.render.axes import plot_drawing


@pytest.fixture
def ax():
    figure = Figure()
    FigureCanvasAgg(figure)
    return figure.subplots()


def test_one_artist_a_mark_in_their_order(ax):
    drawing = everything()
    artists = plot_drawing(ax, drawing)
    assert len(artists) == len(exploded(drawing.primitives, 10.0))
    assert all(a.axes is ax for a in artists)
    kinds = [type(a) for a in artists]
    assert kinds.count(patches.Arc) == 3
    assert kinds.count(patches.Polygon) == 5
    assert kinds.count(text.Text) == 4
    assert kinds.count(lines.Line2D) == len(artists) - 12


def test_axes_keep_their_title_limits_aspect_and_scale(ax):
    ax.set_title("kept")
    limits, aspect = (ax.get_xlim(), ax.get_ylim()), ax.get_aspect()
    plot_drawing(ax, everything())
    assert (ax.get_xlim(), ax.get_ylim()) == limits
    assert ax.get_aspect() == aspect
    assert ax.get_title() == "kept"


@pytest.mark.parametrize(
    "arc",
    [
        Arc((10.0, -20.0), 2000.0, 0.3, 2.9, ink.pen(Layer.CURVE)),
        EllipticArc((10.0, -20.0), 1000.0, 600.0, 0.2, 0.4, math.pi, ink.pen(Layer.CURVE)),
        EllipticArc((0.0, 0.0), 300.0, 600.0, -0.2, 4.0, 7.5, ink.pen(Layer.CURVE)),
    ],
)
def test_arcs_begin_and_end_where_the_drawing_says(ax, arc):
    (artist,) = plot_drawing(ax, Drawing("arc", (arc,)))
    path = artist.get_patch_transform().transform_path(artist.get_path())
    first, *_, last = path.vertices
    assert first == pytest.approx(np.array(arc_points(arc, 2)[0]), abs=1e-6)
    assert last == pytest.approx(np.array(arc_points(arc, 2)[1]), abs=1e-6)


def test_hatches_and_words_reach_the_axes(ax):
    artists = plot_drawing(ax, everything(NASTY + " $x$"))
    hatches = [a.get_hatch() for a in artists if isinstance(a, patches.Polygon)]
    assert len(set(hatches)) == len(Hatch)
    ax.figure.canvas.draw()  # no letter is taken for mathematics
    assert any("script" in a.get_text() for a in artists if isinstance(a, text.Text))
