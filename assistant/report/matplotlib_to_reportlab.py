"""Draw a matplotlib figure onto a reportlab page, keeping vector lines and text.

Supports only what the figures of a report use: paths and upright or rotated text, fully
opaque. Importing this module loads matplotlib and reportlab.
"""

from typing import Any, cast

import matplotlib as mpl
import numpy as np
from matplotlib.backend_bases import GraphicsContextBase, RendererBase
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.path import Path
from matplotlib.transforms import Transform
from reportlab.lib.colors import Color
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable

PLAIN, BOLD, FIXED = "DejaVuSans", "DejaVuSans-Bold", "DejaVuSansMono"
"""Embedded fonts that come with matplotlib and cover many alphabets."""

_CAPS = {"butt": 0, "round": 1, "projecting": 2}
_JOINS = {"miter": 0, "round": 1, "bevel": 2}
_BOLD_FROM = 600
_POINTS_PER_INCH = 72


def register_fonts() -> None:
    """Register the embedded fonts with reportlab."""
    known = pdfmetrics.getRegisteredFontNames()
    for name in (PLAIN, BOLD, FIXED):
        if name not in known:
            pdfmetrics.registerFont(TTFont(name, f"{mpl.get_data_path()}/fonts/ttf/{name}.ttf"))
    pdfmetrics.registerFontFamily(PLAIN, normal=PLAIN, bold=BOLD, italic=PLAIN, boldItalic=BOLD)


class VectorFigure(Flowable):  # type: ignore[misc]  # the package has no types
    """A figure as a flowable of a page, at its own size."""

    def __init__(self, figure: Figure) -> None:
        """Store a figure; its size in inches is its size on paper."""
        super().__init__()
        self._figure = figure
        wide, high = figure.get_size_inches()
        self.width, self.height = wide * _POINTS_PER_INCH, high * _POINTS_PER_INCH

    def wrap(self, _available_width: float, _available_height: float) -> tuple[float, float]:
        """Return the size needed, in points."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw onto the page."""
        page = self.canv.beginPath()
        page.rect(0, 0, self.width, self.height)
        self.canv.clipPath(page, stroke=0, fill=0)
        self._figure.set_dpi(_POINTS_PER_INCH)
        self._figure.draw(_Renderer(self.canv, self.width, self.height))


class _Renderer(RendererBase):
    """Turns matplotlib's drawing calls into reportlab's; one pixel is one point."""

    def __init__(self, canvas: Canvas, width: float, height: float) -> None:
        super().__init__()
        self._canvas = canvas
        self._size = width, height

    def get_canvas_width_height(self) -> tuple[float, float]:
        """Size of the figure, points."""
        return self._size

    def points_to_pixels(self, points: Any) -> Any:  # noqa: ANN401 - as in the base class
        """One pixel is one point."""
        return points

    def flipy(self) -> bool:
        """The origin is at the bottom."""
        return False

    def draw_path(
        self,
        gc: GraphicsContextBase,
        path: Path,
        transform: Transform,
        rgbFace: Any = None,  # noqa: ANN401, N803 - as in the base class
    ) -> None:
        """Draw one path, filled if a colour is given."""
        self._canvas.saveState()
        self._clip(gc)
        stroke = gc.get_linewidth() > 0 and gc.get_rgb()[3] > 0
        if stroke:
            self._pen(gc)
        fill = rgbFace is not None and (len(rgbFace) < 4 or rgbFace[3] > 0)  # noqa: PLR2004 - RGBA
        if fill:
            self._canvas.setFillColor(Color(*rgbFace[:3]))
        self._canvas.drawPath(
            self._path(path, transform), stroke=int(stroke), fill=int(fill), fillMode=1
        )
        self._canvas.restoreState()

    def draw_text(  # noqa: PLR0917 - as in the base class
        self,
        gc: GraphicsContextBase,
        x: float,
        y: float,
        s: str,
        prop: FontProperties,
        angle: float,
        ismath: bool | str = False,  # noqa: FBT001, FBT002 - as in the base class
        mtext: Any = None,  # noqa: ANN401 - as above
    ) -> None:
        """Write text as text."""
        del ismath, mtext
        canvas = self._canvas
        canvas.saveState()
        self._clip(gc)
        canvas.translate(x, y)
        canvas.rotate(angle)
        canvas.setFillColor(Color(*gc.get_rgb()[:3]))
        weight = prop.get_weight()
        bold = weight in ("bold", "heavy", "semibold") or (
            isinstance(weight, int) and weight >= _BOLD_FROM
        )
        canvas.setFont(BOLD if bold else PLAIN, prop.get_size_in_points())
        canvas.drawString(0, 0, s)
        canvas.restoreState()

    def _pen(self, gc: GraphicsContextBase) -> None:
        canvas = self._canvas
        canvas.setStrokeColor(Color(*gc.get_rgb()[:3]))
        canvas.setLineWidth(gc.get_linewidth())
        canvas.setLineCap(_CAPS[gc.get_capstyle()])
        canvas.setLineJoin(_JOINS[gc.get_joinstyle()])
        offset, dashes = gc.get_dashes()
        if dashes is not None:
            canvas.setDash(np.asarray(dashes).tolist(), offset)

    def _clip(self, gc: GraphicsContextBase) -> None:
        box = gc.get_clip_rectangle()
        if box is not None:
            room = self._canvas.beginPath()
            room.rect(*box.bounds)
            self._canvas.clipPath(room, stroke=0, fill=0)
        path, transform = gc.get_clip_path()
        if path is not None and transform is not None:
            # The library's type hint says TransformedPath; the actual value is the inner path.
            self._canvas.clipPath(self._path(cast("Path", path), transform), stroke=0, fill=0)

    def _path(self, path: Path, transform: Transform) -> Any:  # noqa: ANN401 - reportlab has no types
        made = self._canvas.beginPath()
        here = (0.0, 0.0)
        for points, code in path.iter_segments(transform, simplify=False):
            if code == Path.MOVETO:
                made.moveTo(*points)
            elif code == Path.LINETO:
                made.lineTo(*points)
            elif code == Path.CURVE3:
                made.curveTo(*_cubic(here, points))
            elif code == Path.CURVE4:
                made.curveTo(*points)
            else:
                made.close()
                continue
            here = (points[-2], points[-1])
        return made


def _cubic(start: tuple[float, float], points: Any) -> tuple[float, ...]:  # noqa: ANN401 - an array
    """Convert a quadratic curve's control point and end to those of a cubic one."""
    (x0, y0), (x1, y1, x2, y2) = start, points
    return (
        x0 + (x1 - x0) * 2 / 3,
        y0 + (y1 - y0) * 2 / 3,
        x2 + (x1 - x2) * 2 / 3,
        y2 + (y1 - y2) * 2 / 3,
        x2,
        y2,
    )
