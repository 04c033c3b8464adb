"""How every figure looks: sizes, colours, dashes, plain numbers; readable in print and without colour vision."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from io import BytesIO, StringIO
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.figure import Figure

WIDTH = 5.2  # in: on a phone its letters are still read
INK, SOFT, ALARM = "#1c2733", "#6b7783", "#a3262a"
AIR_FILL = "#e3edf4"  # a chamber
# Each differs from its neighbours in lightness too, so that the order survives a grey print.
COLOURS = ("#14508c", "#c4681a", "#1f8a70", "#7d3c78", "#a88a12", "#4d5a66")
DASHES: tuple[Any, ...] = ("solid", (0, (6, 2)), (0, (6, 2, 1.5, 2)), (0, (1.6, 1.4)), (0, (10, 3)), (0, (3, 1.5)))
MODEL_STYLE: dict[str, dict[str, Any]] = {
    "lumped": {"color": "#c4681a", "linestyle": (0, (5, 2)), "linewidth": 1.2, "zorder": 2.5},
    "line": {"color": "#14508c", "linestyle": "solid", "linewidth": 1.6},
    "field": {"color": "#7d3c78", "linestyle": (0, (7, 2, 1.5, 2)), "linewidth": 1.6},
}


@dataclass(frozen=True)
class CauseStyle:
    """How a cause is shown: colour, and as a second cue a shape, by matplotlib's sign and by BokehJS's name."""

    colour: str
    sign: str
    marker: str
    words: str


# Apart in lightness and, by the dichromats' view of Vienot, Brettel & Mollon 1999, in hue; a test holds them to it.
CAUSES = {
    "driver": CauseStyle("#2a5fc4", "o", "circle", "driver"),
    "helmholtz": CauseStyle("#d96a0a", "s", "square", "Helmholtz tuning"),
    "pipe": CauseStyle("#0f8c70", "^", "triangle", "pipe resonance of a port"),
    "chamber-mode": CauseStyle("#8c2f86", "D", "diamond", "standing wave of a chamber"),
    "horn": CauseStyle("#6b5500", "v", "inverted_triangle", "wave along a horn"),
    "leak": CauseStyle("#8793a6", "h", "hex", "leak"),
    "coil": CauseStyle("#1c2733", "*", "star", "coil"),
}
_SETTINGS: dict[Any, Any] = {
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans", "Verdana", "Arial", "sans-serif"],
    "font.size": 9.0,
    "svg.fonttype": "none",
    "svg.hashsalt": "airpath",
    "pdf.fonttype": 42,
    "path.simplify": True,
    "path.simplify_threshold": 0.2,
    "axes.edgecolor": SOFT,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.8,
    "text.color": INK,
    "text.parse_math": False,
    "xtick.color": INK,
    "ytick.color": INK,
    "axes.unicode_minus": True,
}


@contextmanager
def styled() -> Iterator[None]:
    """Hold the figures' settings while drawing, and put the reader's own back afterwards."""
    import warnings

    import matplotlib as mpl

    with mpl.rc_context(_SETTINGS), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing")  # a name in a script the font lacks
        yield


def blank(width: float, height: float) -> Figure:
    """Return an empty figure [in] that belongs to no window."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width, height))
    FigureCanvasAgg(figure)
    return figure


def size_of(figure: Any) -> tuple[float, float]:
    """Return width and height [in] of a figure, or of a piece of one."""
    return figure.bbox.width / figure.dpi, figure.bbox.height / figure.dpi


def opening_style(index: int) -> dict[str, Any]:
    """Return colour and dash of the opening at ``index``."""
    turn = index // len(COLOURS)
    return {
        "color": COLOURS[index % len(COLOURS)],
        "linestyle": DASHES[(index + turn) % len(DASHES)],
        "linewidth": 1.4,
    }


def png(figure: Any) -> bytes:
    """Return a figure as PNG; the same figure gives the same bytes."""
    out = BytesIO()
    with styled():
        figure.savefig(out, format="png", dpi=120, metadata={"Software": None})
    return out.getvalue()


def svg(figure: Any) -> bytes:
    """Return a figure as SVG with its text as text; the same figure gives the same bytes."""
    out = StringIO()
    with styled():
        figure.savefig(
            out, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None}
        )
    return out.getvalue().encode()


def plain(value: float, digits: int = 3) -> str:
    """Return a number with so many significant digits and no exponent: 0.0421, 37.1, 1 240."""
    if not value:
        return "0"
    from math import floor, log10

    decimals = digits - 1 - floor(log10(abs(float(f"{value:.{digits}g}"))))
    text = f"{round(value, decimals):,.{max(0, decimals)}f}".replace(",", "\u2009")
    return text.replace("-", "\u2212")


def tidy(value: float, digits: int = 3) -> str:
    """Return a number like :func:`plain`, without zeros at its end: 38, not 38.0."""
    text = plain(value, digits)
    return text.rstrip("0").rstrip(".") if "." in text else text


def signed(value: float, decimals: int = 1) -> str:
    """Return a difference with its sign and so many decimals, no sign before nothing: +1.5, −0.3, 0.0."""
    text = f"{value:+.{decimals}f}"
    return (text if float(text) else text[1:]).replace("-", "\u2212")


def shortened(name: str, most: int = 16) -> str:
    """Return a name that fits beside a curve."""
    return name if len(name) <= most else name[: most - 1] + "…"
