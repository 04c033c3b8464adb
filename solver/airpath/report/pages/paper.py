"""Pages of paper that fill from the top: headings, paragraphs, tables and figures, cut nowhere."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from io import BytesIO
from typing import TYPE_CHECKING, Any

from airpath.report.style import ALARM, INK, SOFT, blank, styled

if TYPE_CHECKING:
    from matplotlib.figure import Figure, FigureBase

WIDE, TALL = 8.27, 11.69  # in, A4
MARGIN = 0.75  # in
_FOOT = 0.35  # in, above the lower margin
_LEADING = 1.35  # of the letters' size
_DPI = 100.0  # of the figure that letters are measured on
_GAP = 0.12  # in, between the columns of a table


@dataclass
class Paper:
    """Pages in the making; ``foot`` stands at the bottom of each."""

    title: str
    foot: str
    pages: list[Figure] = field(default_factory=list)
    y: float = 0.0  # in, from the top of the last page to the next line

    @property
    def width(self) -> float:
        """Width between the margins [in]."""
        return WIDE - 2 * MARGIN

    def heading(self, text: str, size: float = 12.0, *, keep: float = 1.2) -> None:
        """Write a heading; it moves to the next page unless ``keep`` [in] are free below it."""
        self.space(0.16 if self.pages and self.y > MARGIN else 0.0)
        self._room(size / 72 * _LEADING + keep)
        for line in self.wrapped(text, size, self.width, "bold"):
            self._line(line, size, weight="bold")
        self.space(0.05)

    def paragraph(self, text: str, size: float = 9.0, *, indent: float = 0.0, bar: bool = False, **style: Any) -> None:
        """Write a paragraph; ``bar``: with a mark beside it, for what must not be overlooked."""
        for line in self.wrapped(text, size, self.width - indent):
            self._room(size / 72 * _LEADING)
            if bar:
                self._stroke(MARGIN, MARGIN, self.y, self.y + size / 72 * _LEADING, color=ALARM, linewidth=3)
            self._line(line, size, x=MARGIN + indent, **style)
        self.space(0.06)

    def table(self, names: Sequence[str], widths: Sequence[float], rows: Sequence[Sequence[str]]) -> None:
        """Write a table; ``widths``: share of each column. Its head comes again on every page."""
        inches = [share / sum(widths) * self.width for share in widths]
        self._row(names, inches, "bold", (), line=1.0)
        for row in rows:
            self._row(row, inches, "normal", names)

    def figure(self, height: float, draw: Callable[[FigureBase], object], caption: str) -> None:
        """Draw a figure of so many inches, with its caption on the same page."""
        self._room(height + 0.4)
        top, wide = self.y, self.width
        grid = self.pages[-1].add_gridspec(
            3, 3, width_ratios=(MARGIN, wide, WIDE - MARGIN - wide),
            height_ratios=(top, height, TALL - top - height), left=0, right=1, top=1, bottom=0, wspace=0, hspace=0,
        )  # fmt: skip
        draw(self.pages[-1].add_subfigure(grid[1, 1], facecolor="none"))
        self.y += height
        self.paragraph(caption, 8.0, color=SOFT)
        self.space(0.1)

    def space(self, inches: float) -> None:
        """Leave room."""
        self.y += inches

    def pdf(self) -> bytes:
        """Return the pages as PDF with their text as text; the same pages give the same bytes."""
        from matplotlib.backends.backend_pdf import PdfPages

        out = BytesIO()
        keep = {"Title": self.title, "CreationDate": None, "Creator": None, "Producer": None}
        with styled(), PdfPages(out, metadata=keep) as file:
            for number, page in enumerate(self.pages, 1):
                at = (TALL - MARGIN + 0.2, f"{number} of {len(self.pages)}")
                self._write(page, MARGIN, at[0], self.foot, 7.5, color=SOFT)
                self._write(page, WIDE - MARGIN, at[0], at[1], 7.5, color=SOFT, ha="right")
                file.savefig(page)
        return out.getvalue()

    def wrapped(self, text: str, size: float, width: float, weight: str = "normal") -> list[str]:
        """Return a text in lines no wider than so many inches."""
        lines: list[str] = []
        for block in text.split("\n"):
            line = ""
            for word in _pieces(block, lambda piece: self._wide(piece, size, weight) <= width):
                longer = f"{line} {word}".strip()
                if line and self._wide(longer, size, weight) > width:
                    lines.append(line)
                    longer = word
                line = longer
            lines.append(line)
        return lines

    def _row(
        self, cells: Sequence[str], inches: Sequence[float], weight: str, names: Sequence[str], line: float = 0.4
    ) -> None:  # fmt: skip
        size = 7.5
        blocks = [self.wrapped(c, size, w - _GAP, weight) for c, w in zip(cells, inches, strict=True)]
        tall = max(map(len, blocks)) * size / 72 * _LEADING + 0.08
        if self._room(tall) and names:
            self._row(names, inches, "bold", (), line=1.0)
        x = MARGIN
        for block, wide in zip(blocks, inches, strict=True):
            for i, words in enumerate(block):
                at = self.y + 0.03 + i * size / 72 * _LEADING
                self._write(self.pages[-1], x, at, words, size, weight=weight)
            x += wide
        self.y += tall
        self._stroke(MARGIN, WIDE - MARGIN, self.y, self.y, color=INK if line == 1.0 else SOFT, linewidth=line)

    def _room(self, inches: float) -> bool:
        """Begin a new page unless so many inches are free; return whether it did."""
        if self.pages and self.y + inches <= TALL - MARGIN - _FOOT:
            return False
        self.pages.append(blank(WIDE, TALL))
        self.y = MARGIN
        return len(self.pages) > 1

    def _line(self, text: str, size: float, x: float = MARGIN, **style: Any) -> None:
        self._room(size / 72 * _LEADING)
        self._write(self.pages[-1], x, self.y, text, size, **style)
        self.y += size / 72 * _LEADING

    def _write(self, page: Figure, x: float, y: float, text: str, size: float, **style: Any) -> None:
        page.text(x / WIDE, 1 - y / TALL, text, fontsize=size, **{"va": "top", "color": INK, **style})

    def _stroke(self, x0: float, x1: float, y0: float, y1: float, **style: Any) -> None:
        from matplotlib.lines import Line2D

        page = self.pages[-1]
        ends = [x0 / WIDE, x1 / WIDE], [1 - y0 / TALL, 1 - y1 / TALL]
        page.add_artist(Line2D(*ends, transform=page.transFigure, **style))

    @cached_property
    def _measure(self) -> Any:
        return blank(1.0, 1.0).canvas.get_renderer()  # type: ignore[attr-defined]

    def _wide(self, text: str, size: float, weight: str) -> float:
        """Return the width of a text [in]."""
        from matplotlib.font_manager import FontProperties

        font = FontProperties(size=size, weight=weight)
        return float(self._measure.get_text_width_height_descent(text, font, ismath=False)[0]) / _DPI


def _pieces(text: str, fits: Callable[[str], bool]) -> list[str]:
    """Return the words of a text, those that fit no line cut into pieces."""
    out = []
    for word in text.split(" "):
        if fits(word):
            out.append(word)
            continue
        piece = ""
        for letter in word:
            if piece and not fits(piece + letter):
                out.append(piece)
                piece = ""
            piece += letter
        out.append(piece)
    return out
