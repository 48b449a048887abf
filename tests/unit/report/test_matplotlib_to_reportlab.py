"""Matplotlib figures on reportlab pages: what is drawn, where, and that words stay words."""

import io
import re
import zlib
from base64 import a85decode

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Circle, PathPatch
from matplotlib.path import Path
from reportlab.pdfgen.canvas import Canvas

from assistant.report.matplotlib_to_reportlab import BOLD, PLAIN, VectorFigure, register_fonts
from assistant.report.plots import drawing


def drawn(figure: Figure) -> str:
    """The drawing commands of a page that holds this figure at its corner."""
    register_fonts()
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(400, 400), invariant=1, pageCompression=1)
    with drawing():
        VectorFigure(figure).drawOn(canvas, 0, 0)
    canvas.showPage()
    canvas.save()
    (packed,) = re.findall(
        rb"/ASCII85Decode /FlateDecode.*?stream\r?\n(.*?)endstream", out.getvalue(), re.DOTALL
    )[:1]
    return zlib.decompress(a85decode(packed.strip().removesuffix(b"~>"))).decode("latin-1")


@pytest.fixture
def figure() -> Figure:
    """An empty figure of 4 by 3 inches."""
    made = Figure(figsize=(4, 3))
    FigureCanvasAgg(made)
    return made


def test_it_takes_its_own_size(figure: Figure) -> None:
    """Inches on paper are inches of the figure."""
    assert VectorFigure(figure).wrap(1000.0, 1000.0) == (288.0, 216.0)


def test_a_line_keeps_its_place_width_and_dashes(figure: Figure) -> None:
    """From corner to corner, in points, dashed as asked."""
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_axis_off()
    axes.set_xlim(0, 1)
    axes.set_ylim(0, 1)
    axes.plot([0, 1], [0, 1], linewidth=2.0, linestyle=(0, (3, 1)), color="#ff0000")
    page = drawn(figure)
    assert re.search(r"0 0 m 288 216 l", page)
    assert "2 w" in page
    assert re.search(r"\[6 2\] 0(\.0)? d", page)
    assert "1 0 0 RG" in page


def test_words_stay_words(figure: Figure) -> None:
    """Text is set with the embedded fonts, turned where it is turned, bold where it is bold."""
    figure.text(0.5, 0.5, "plain")
    figure.text(0.5, 0.5, "strong", weight="bold", rotation=90)
    figure.text(0.5, 0.5, "strong", weight=700)
    page = drawn(figure)
    assert page.count("Tj") == 3
    assert re.search(r"0 1 -1 0 \S+ \S+ cm|0 1 -1 0 0 0 cm", page)
    assert len(set(re.findall(r"/(F\d\+0) ", page))) == 2
    assert {PLAIN, BOLD} == {"DejaVuSans", "DejaVuSans-Bold"}


def test_curves_are_curves(figure: Figure) -> None:
    """Cubic ones as they are, quadratic ones raised to cubic ones through the same points."""
    figure.add_artist(Circle((0.5, 0.5), 0.2, fill=True, edgecolor="none", facecolor="#00ff00"))
    corner = Path([(0, 0), (144, 216), (288, 0)], [Path.MOVETO, Path.CURVE3, Path.CURVE3])
    figure.add_artist(PathPatch(corner, transform=None, fill=False, edgecolor="black"))
    page = drawn(figure)
    assert re.search(r"0 0 m 96 144 192 144 288 0 c", page)
    assert page.count(" c") >= 9
    assert "0 1 0 rg" in page


def test_what_lies_outside_the_axes_is_cut_off(figure: Figure) -> None:
    """The axes' box clips a line, and a shape clips where it is asked to."""
    axes = figure.add_axes((0.25, 0.25, 0.5, 0.5))
    axes.set_axis_off()
    axes.set_xlim(0, 1)
    axes.set_ylim(0, 1)
    (line,) = axes.plot([-5, 5], [0.5, 0.5])
    assert re.search(r"72 54 144 108 re W\*? n", drawn(figure))
    line.set_clip_path(Circle((0.5, 0.5), 0.1, transform=axes.transData))
    page = drawn(figure)
    assert re.search(r"(c|h) W\*? n", page)


def test_invisible_things_are_not_drawn(figure: Figure) -> None:
    """No stroke without a width or with a wholly transparent colour, no fill without a colour."""
    square = np.array([(10, 10), (50, 10), (50, 50), (10, 50)], dtype=float)
    for edge, face, width in (("none", (1, 0, 0, 0), 1.0), ("black", "none", 0.0)):
        patch = PathPatch(
            Path(square), transform=None, edgecolor=edge, facecolor=face, linewidth=width
        )
        figure.add_artist(patch)
    figure.patch.set_visible(False)
    page = drawn(figure)
    assert len(re.findall(r"\nn\n", page)) == 2
    assert not re.findall(r" [SBf]\*?\b", page)
