"""The slow part of a case, in a process of its own: every fidelity, and the cause of every feature."""

from __future__ import annotations

import multiprocessing
import os
import time
import traceback
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from threading import Thread
from typing import Any

from airpath.case.load import parse
from airpath.case.schema import Case
from airpath.errors import AirpathError

_MOST_ERRANDS = 4
_BEHIND = 10  # how far the process stands back, as `nice` counts
_LONG = 3.0  # s after which a study that nobody wants any more is stopped
ERRAND = -1  # the revision of errands: they belong to the case as it was when they were asked for
_Job = tuple[int, str, str, str]


@dataclass(frozen=True, kw_only=True)
class News:
    """What the study of ``revision`` tells; ``kind``: "step" (begun, in words), "prediction", "features", "covering",
    "report" (its path), "pictures", "trouble" (an error's words), "done" or "died"."""

    revision: int
    kind: str
    value: Any = None


class Study:
    """One process that studies one case at a time; of those that wait only the newest is ever studied.

    Its methods belong to one thread; ``tell`` is called from another.
    """

    def __init__(self, tell: Callable[[News], None]) -> None:
        """Start the process."""
        self._tell = tell
        self._running: _Job | None = None
        self._waiting: _Job | None = None
        self._errands: deque[_Job] = deque()
        self._since = 0.0
        self._outdated = self._ended = False
        self._start()

    @property
    def at_work(self) -> bool:
        """Whether something is being studied."""
        return self._running is not None

    def ask(self, revision: int, text: str, path: Path) -> None:
        """Study a case's text that stands, or will stand, at ``path``; what was asked before is wanted no more."""
        self._waiting = (revision, "study", text, str(path))
        self.next()

    def send(self, errand: str, text: str, path: Path) -> None:
        """Have a "report" written or "pictures" made of a case's text, before the next case is studied."""
        if len(self._errands) < _MOST_ERRANDS:
            self._errands.append((ERRAND, errand, text, str(path)))
        self.next()

    def outdate(self) -> None:
        """Say that the case has changed: what runs is wanted no more, and ends soon; what waits is dropped."""
        self._waiting, self._outdated = None, True

    def next(self) -> None:
        """Take the errand or the case that waits, if its turn has come."""
        if self._ended:
            return
        if self._running is not None:
            stale = self._outdated or self._waiting is not None
            if not stale or self._running[0] == ERRAND or time.monotonic() - self._since < _LONG:
                return
            self._stop()
            self._start()
        if self._errands:
            self._running = self._errands.popleft()
        elif self._waiting is not None:
            self._running, self._waiting = self._waiting, None
        else:
            return
        self._since, self._outdated = time.monotonic(), False
        if not self._process.is_alive():  # it was ended from outside while it had nothing to do
            self._start()
        self._pipe.send(self._running)

    def heard(self, news: News) -> None:
        """Take note of news: the process may be free, or gone."""
        if self._running is None or news.revision != self._running[0]:
            return
        if news.kind == "died":
            self._start()
        if news.kind in ("done", "died"):
            self._running = None
            self.next()

    def close(self) -> None:
        """End the process for good."""
        self._ended = True
        self._stop()

    def _stop(self) -> None:
        self._running = None
        self._process.kill()
        self._process.join()

    def _start(self) -> None:
        context = multiprocessing.get_context("spawn")
        self._pipe, other = context.Pipe()
        self._process = context.Process(target=_work, args=(other,), daemon=True)
        self._process.start()
        other.close()
        Thread(target=self._listen, args=(self._pipe,), daemon=True).start()

    def _listen(self, pipe: Connection) -> None:
        with suppress(EOFError, OSError):
            while True:
                self._tell(pipe.recv())
        running = self._running
        if running is not None and pipe is self._pipe:
            self._tell(News(revision=running[0], kind="died"))


def unexpected(error: Exception) -> str:
    """Return what a page says when airpath itself is at fault."""
    return (
        f"airpath made a mistake of its own ({type(error).__name__}: {str(error)[:200]}). Your file is as you last "
        "wrote it, and the page goes on; what led to it stands where airpath was started."
    )


def study(case: Case) -> Iterator[tuple[str, Any]]:
    """Yield kind and value of what is found of a case, step by step, as `News` takes them."""
    from airpath.findings.designs.cover import cover
    from airpath.findings.explaining.explain import explain
    from airpath.findings.predict import predict
    from airpath.network.covered import outlets

    yield "step", "solving every fidelity"
    yield "prediction", predict(case)
    if outlets(case):
        yield "step", "covering the openings in every way"
        yield "covering", cover(case)
    yield "step", "looking for the cause of every peak and dip"
    yield "features", explain(case)


def report(case: Case) -> Iterator[tuple[str, Any]]:
    """Write the report of a case into a folder beside it."""
    from airpath.findings.predict import predict
    from airpath.measured.reading.sweep import measured_of
    from airpath.report.pages.write import write_report

    assert case.source is not None  # it has a place
    folder = case.source.resolve().parent / "airpath-out" / case.name
    yield "step", "drawing the report"
    write_report(predict(case), folder, measured_of(case))
    yield "report", folder / "report.html"


def pictures(case: Case) -> Iterator[tuple[str, Any]]:
    """Draw the standing waves of every chamber that has a shape, and the way of the air through every drawn horn.

    What is drawn so far is yielded anew after each of them: words and PNG of each picture.
    """
    from airpath.findings.folding.fold import fold
    from airpath.findings.maps import field_of
    from airpath.findings.modes import modes
    from airpath.report.figures.fields import mode_figures
    from airpath.report.figures.foldfigures import fold_figures
    from airpath.report.pages.foldpage import caption
    from airpath.report.style import png, styled

    drawn: list[tuple[str, bytes]] = []
    yield "step", "drawing the standing waves"
    table = modes(case)
    for name, chamber in table.chambers.items():
        field = field_of(chamber, table.network.air)
        if field is not None:
            with styled():
                drawn += [(f"Standing waves of {name}.", png(f)) for _, f in mode_figures(chamber, field, case.scale)]
    yield "pictures", tuple(drawn)
    for name in (name for name, horn in case.horns.items() if horn.outline is not None):
        yield "step", f"following the air through {name}"
        found = fold(case, horn=name)
        with styled():
            drawn += [(f"Horn {name}. {caption(found, key)}", png(f)) for key, f in fold_figures(found).items()]
        yield "pictures", tuple(drawn)


_TASKS = {"study": study, "report": report, "pictures": pictures}


def _work(pipe: Connection) -> None:
    """Study what comes through the pipe until it closes; the hand on the page goes first."""
    if hasattr(os, "nice"):
        os.nice(_BEHIND)
    with suppress(EOFError, OSError, KeyboardInterrupt):
        while True:
            revision, task, text, path = pipe.recv()
            try:
                for kind, value in _TASKS[task](parse(text, Path(path))):
                    pipe.send(News(revision=revision, kind=kind, value=value))
            except AirpathError as error:
                pipe.send(News(revision=revision, kind="trouble", value=str(error)))
            except (EOFError, OSError):
                raise
            except Exception as error:  # a mistake of airpath's own
                traceback.print_exc()
                pipe.send(News(revision=revision, kind="trouble", value=unexpected(error)))
            pipe.send(News(revision=revision, kind="done"))
