"""The slow part of a case, in a process of its own: every fidelity, and the cause of every feature."""

from __future__ import annotations

import multiprocessing
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from threading import Thread
from typing import Any

_LONG = 3.0  # s after which a study that nobody wants any more is stopped
_Job = tuple[int, str, str]


@dataclass(frozen=True, kw_only=True)
class News:
    """What the study of ``revision`` tells; ``kind``: "step" (begun, in words), "prediction", "features", "trouble"
    (an error's words), "done" or "died"."""

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
        self._since = 0.0
        self._start()

    def ask(self, revision: int, text: str, path: Path) -> None:
        """Study a case's text that stands, or will stand, at ``path``; what was asked before is wanted no more."""
        self._waiting = (revision, text, str(path))
        self.next()

    def next(self) -> None:
        """Take the case that waits, if its turn has come."""
        if self._waiting is None:
            return
        if self._running is not None:
            if time.monotonic() - self._since < _LONG:
                return
            self.close()
            self._start()
        self._running, self._waiting = self._waiting, None
        self._since = time.monotonic()
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
        """End the process."""
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


def study(text: str, path: Path) -> Iterator[tuple[str, Any]]:
    """Yield kind and value of what is found of a case, step by step, as `News` takes them."""
    from airpath.case.load import parse
    from airpath.errors import AirpathError
    from airpath.findings.explain import explain
    from airpath.findings.predict import predict

    try:
        case = parse(text, path)
        yield "step", "solving every fidelity"
        yield "prediction", predict(case)
        yield "step", "looking for the cause of every peak and dip"
        yield "features", explain(case)
    except AirpathError as error:
        yield "trouble", str(error)


def _work(pipe: Connection) -> None:
    """Study what comes through the pipe until it closes."""
    with suppress(EOFError, OSError, KeyboardInterrupt):
        while True:
            revision, text, path = pipe.recv()
            for kind, value in study(text, Path(path)):
                pipe.send(News(revision=revision, kind=kind, value=value))
            pipe.send(News(revision=revision, kind="done"))
