"""A sheet to draw on: collects shapes and texts in metres, then fits them to a figure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from airpath.report.style import INK, WIDTH, blank, size_of

if TYPE_CHECKING:
    from matplotlib.figure import FigureBase

Point = tuple[float, float]
_TALLEST = 3.2  # in
LETTER = 0.074  # in, mean width of a letter at 8 pt
LINE = 0.15  # in


@dataclass
class Sheet:
    """``inch``: metres per inch of the finished figure, a first guess until :meth:`scale` has measured the drawing.

    ``part``: what is drawn from now on belongs to this part of the case; ``width`` of the figure [in].
    """

    inch: float
    width: float = WIDTH
    part: str = ""
    shapes: list[tuple[Sequence[Point], dict[str, Any], str]] = field(default_factory=list)
    strokes: list[tuple[Sequence[Point], dict[str, Any], str]] = field(default_factory=list)
    texts: list[tuple[float, float, str, dict[str, Any], str]] = field(default_factory=list)

    def shape(self, points: Sequence[Point], **style: Any) -> None:
        """Draw a closed, filled outline."""
        self.shapes.append((points, {"facecolor": "white", "edgecolor": INK, "linewidth": 1.2, **style}, self.part))

    def box(self, x: float, y: float, w: float, h: float, **style: Any) -> None:
        """Draw a rectangle by its lower left corner."""
        self.shape([(x, y), (x + w, y), (x + w, y + h), (x, y + h)], **style)

    def stroke(self, points: Sequence[Point], **style: Any) -> None:
        """Draw a line."""
        self.strokes.append((points, {"color": INK, "linewidth": 1.2, **style}, self.part))

    def text(self, x: float, y: float, words: str, **style: Any) -> None:
        """Write one or more lines at a place."""
        self.texts.append((x, y, words, {"ha": "center", "va": "center", "fontsize": 8.0, **style}, self.part))

    def scale(self) -> float:
        """Return the metres per inch at which everything, texts included, fits the figure."""
        left, right, low, high = self.extent(texts=False)
        widths = self.extent(texts=True)
        inches = (widths[1] - widths[0] - (right - left)) / self.inch
        lines = (widths[3] - widths[2] - (high - low)) / self.inch
        return max((right - left) / (self.width - 0.2 - inches), (high - low) / (_TALLEST - 0.2 - lines))

    def extent(self, *, texts: bool = True) -> tuple[float, float, float, float]:
        """Return left, right, lower and upper end of what is drawn [m]."""
        points = [p for drawn, *_ in (*self.shapes, *self.strokes) for p in drawn]
        if texts:
            for x, y, words, style, _ in self.texts:
                lines = words.split("\n")
                wide = max(map(len, lines)) * LETTER * self.inch
                tall = len(lines) * LINE * self.inch
                left = x - {"left": 0.0, "center": 0.5, "right": 1.0}[style["ha"]] * wide
                low = y - {"bottom": 0.0, "center": 0.5, "top": 1.0}[style["va"]] * tall
                points += [(left, low), (left + wide, low + tall)]
        xs, ys = [p[0] for p in points], [p[1] for p in points]
        return min(xs), max(xs), min(ys), max(ys)

    def figure(self, on: FigureBase | None = None) -> FigureBase:
        """Return the finished drawing, in the middle of ``on`` if that is given."""
        from matplotlib.lines import Line2D
        from matplotlib.patches import Polygon

        left, right, low, high = self.extent(texts=True)
        tall = (high - low) / self.inch + 0.2
        figure = blank(WIDTH, tall) if on is None else on
        width, height = size_of(figure)
        axes = figure.add_axes((0.5 - WIDTH / width / 2, 0.5 - tall / height / 2, WIDTH / width, tall / height))
        axes.set_axis_off()
        middle, half = (left + right) / 2, max(self.width * self.inch, right - left) / 2
        axes.set_xlim(middle - half, middle + half)
        axes.set_ylim(low - 0.1 * self.inch, high + 0.1 * self.inch)
        for order, (points, style, _) in enumerate(self.shapes):
            axes.add_patch(Polygon(points, closed=True, **{"zorder": 1 + order / 1000, **style}))
        for points, style, _ in self.strokes:
            axes.add_line(Line2D([p[0] for p in points], [p[1] for p in points], **{"zorder": 3, **style}))
        for x, y, words, style, _ in self.texts:
            axes.text(x, y, words, **{"zorder": 4, "linespacing": 1.25, **style})
        return figure
