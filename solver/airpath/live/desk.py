"""The desk on which a case is worked on: takes what a page asks for, and says what every page has to show.

All of it runs in one thread; what takes long runs in the study's process.
"""

from __future__ import annotations

import tomllib
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from airpath.errors import AirpathError
from airpath.live import views
from airpath.live.board import Board, Message, Say
from airpath.live.dropped import OUTLINES, outline_changes
from airpath.live.engine import Engine
from airpath.live.history import Changes
from airpath.live.session import Session
from airpath.live.starts import new_session, starts
from airpath.live.study import ERRAND, News, Study, unexpected
from airpath.measured.reading.sweep import MeasuredSweep, read_sweep
from airpath.report.pages.explained import flags

_STUDYING = "solving every fidelity"
_STOPPED = "The background calculation stopped; it starts again with the next change."


class Desk:
    """One case, or none yet, and everything known of it."""

    def __init__(self, path: Path | None, folder: Path, say: Say, hear: Callable[[News], None]) -> None:
        """Open a case file, or offer box types to start from in ``folder``.

        ``say`` sends a message to every page; ``hear`` takes the study's news, from a thread of its own, and brings
        them back to `news`. Raises CaseError, FidelityError or AccuracyError.
        """
        self.folder, self._hear = folder, hear
        self.report: Path | None = None  # the last one made
        self._session: Session | None = None
        self._study: Study | None = None
        self._engine, self._board = Engine(), Board(say)
        self._revision = 0
        self._pictured = -1  # the revision that pictures were last asked of
        self._sweep: tuple[Path, MeasuredSweep] | None = None
        if path is not None:
            self._take(Session.open(path))

    def welcome(self) -> list[Message]:
        """Return what a page needs that has just come."""
        if self._session is None:
            return [{"what": "starts", "starts": starts(), "folder": str(self.folder)}]
        return [views.state(self._session), *self._board.welcome()]

    def ask(self, wish: Message) -> None:
        """Do what a page asks for. What can't be done is said, and changes nothing."""
        with self._saying(wish.get("serial")):
            self._do(str(wish.get("do")), wish)

    def drop(self, name: str, data: bytes) -> None:
        """Take a file that was dropped on the page: a measured sweep, or an outline, whose place the page asks for."""
        session = self._session
        with self._saying():
            if session is None:
                raise AirpathError("there is no case yet: choose a box to start from")
            kept = session.dropped.keep(name, data, session.path.resolve().parent)
            if kept.lower().endswith(OUTLINES):
                shapes = [*session.case.chambers, *session.case.horns]
                self._board.tell({"what": "outline", "name": kept, "parts": shapes})
                return
            self._use_sweep(session, kept)

    def look(self) -> None:
        """Look whether the file has changed, and at the study."""
        with self._saying():
            self._look()

    def _look(self) -> None:
        session = self._session
        if self._study is not None:
            self._study.next()
        if session is None:
            return
        text = session.text
        if not session.look():
            return
        if session.text == text:
            self._board.tell(views.state(session))
            return
        self._board.plots.freeze()
        self._settled(session)

    def news(self, news: News) -> None:
        """Take what the study found, unless the case is another one by now."""
        if self._study is None:
            return
        with self._saying():
            self._study.heard(news)
            if self._wanted(news):
                self._show(news)

    def close(self) -> None:
        """End the study's process, and throw away what was dropped and never written."""
        if self._study is not None:
            self._study.close()
        if self._session is not None:
            self._session.dropped.close()

    @contextmanager
    def _saying(self, serial: Any = None) -> Iterator[None]:
        """Say on every page why something was not done; whatever goes wrong, the desk goes on."""
        try:
            yield
        except AirpathError as error:
            self._board.refused(str(error), serial)
        except Exception as error:  # a mistake of airpath's own
            traceback.print_exc()
            self._board.refused(unexpected(error), serial)

    def _wanted(self, news: News) -> bool:
        """Whether news are of the case as it is; a report is of the case as it was when it was asked for."""
        if news.revision != ERRAND:
            return news.revision == self._revision and not self._board.moving
        if news.kind == "pictures":
            return self._pictured == self._revision
        return not self._board.moving or news.kind in ("report", "trouble", "died")

    def _show(self, news: News) -> None:
        board, found = self._board, news.value
        if news.kind == "prediction":
            board.plots.now = found
            board.curves(studied=True)
        elif news.kind == "features":
            now = board.plots.now
            assert now is not None
            board.plots.flags = flags(found)
            board.curves(studied=True)
            board.tell(views.features(now.case, found, now.best))
        elif news.kind == "covering":
            board.tell(views.covering(found))
        elif news.kind == "pictures":
            board.tell(views.pictures(found))
        elif news.kind == "report":
            self.report = found
            board.done(f"The report is in {found.parent}.", link="report.html")
        elif news.kind == "step":
            board.busy(str(found))
        else:
            if not board.moving:
                board.busy(_STUDYING if self._study is not None and self._study.at_work else "")
            if news.kind != "done":
                board.refused(_STOPPED if news.kind == "died" else str(found))

    def _do(self, what: str, wish: Message) -> None:
        session = self._session
        if what == "start" and session is None:
            self._take(new_session(str(wish.get("box")), self.folder))
            self._board.tell({"what": "reload"})
            return
        if session is None or self._study is None:
            raise AirpathError("there is no case yet: choose a box to start from")
        if what == "turn":
            self._turn(session, wish)
        elif what == "save":
            session.save(str(wish["name"]) if wish.get("name") else None)
            self._board.done(f"Written to {session.path.name}.")
            self._board.tell(views.state(session))
        elif what in ("report", "pictures"):
            if self._board.moving:
                self._step(session, "settle", wish)
            if what == "pictures":
                self._pictured = self._revision
            self._study.send(what, session.working_text, session.path)
        else:
            self._step(session, what, wish)

    def _step(self, session: Session, what: str, wish: Message) -> None:
        """Do what makes one step that can be taken back, or takes one back."""
        steps: dict[str, Callable[[], None]] = {
            "settle": session.settle, "undo": session.undo, "redo": session.redo,
            "shut": lambda: session.cover(str(wish.get("port")), bool(wish.get("shut"))),
            "cover": lambda: session.change(_covers(session, wish)),
            "door": lambda: session.change(_door(session, wish)),
            "outline": lambda: session.change(_outline(session, wish)),
        }  # fmt: skip
        if what not in steps:
            raise AirpathError(f'there is nothing called "{what[:40]}" to do')
        idle = {"settle": not self._board.moving, "undo": not session.history.can_undo,
                "redo": not session.history.can_redo}  # fmt: skip
        if idle.get(what):
            self._board.tell(views.state(session))  # a number that was refused goes back
            return
        if what != "settle":
            self._board.plots.freeze()
        steps[what]()
        try:
            self._settled(session)
        except AirpathError as error:
            if what != "outline":
                raise
            session.take_back()
            self._settled(session)
            raise AirpathError(session.dropped.told(f"The outline can't be used. {error}")) from None

    def _turn(self, session: Session, wish: Message) -> None:
        knob, value = session.knobs().get(str(wish.get("name"))), wish.get("value")
        if knob is None or not isinstance(value, int | float) or isinstance(value, bool):
            raise AirpathError("that is nothing that can be turned")
        if not session.holds(knob.name):
            self._board.plots.freeze()
        session.turn(knob.name, float(value) * knob.si)
        self._board.moving = True
        self._board.outdate()
        if self._study is not None:
            self._study.outdate()
        self._revision += 1
        try:
            self._board.plots.now = self._engine.predict(session.case, moving=True)
            self._board.curves(serial=wish.get("serial"))
        finally:
            self._board.tell(views.state(session))

    def _take(self, session: Session) -> None:
        self._board.plots.now = self._engine.predict(session.case)
        self._study = Study(self._hear)
        self._session = session
        self._settled(session)

    def _settled(self, session: Session) -> None:
        """Show the case by the line model over its whole sweep, and have everything else studied."""
        self._board.moving = False
        self._board.outdate()
        self._revision += 1
        self._overlay(session)
        try:
            self._board.plots.now = self._engine.predict(session.case)
            self._board.curves()
        finally:
            self._board.tell(views.state(session))
        assert self._study is not None
        self._board.busy(_STUDYING)
        self._study.ask(self._revision, session.working_text, session.path)

    def _use_sweep(self, session: Session, name: str) -> None:
        """Lay a dropped sweep over the impedance, and name it in the case."""
        try:
            read_sweep(session.dropped.path(name))
        except AirpathError as error:
            session.dropped.forget(name)
            raise AirpathError(session.dropped.told(str(error))) from None
        session.change({("measured",): name})
        self._settled(session)

    def _overlay(self, session: Session) -> None:
        """Show the measured sweep that the case names, if it names one that can be read."""
        case, sweep = session.case, None
        if case.measured is not None:
            path = case.resolve(case.measured)
            try:
                known = self._sweep is not None and self._sweep[0] == path
                self._sweep = self._sweep if known else (path, read_sweep(path))
                sweep = self._sweep[1] if self._sweep is not None else None
            except AirpathError as error:
                self._board.refused(session.dropped.told(str(error)))
        self._board.plots.measured = sweep


def _covers(session: Session, wish: Message) -> Changes:
    """Return the changes that shut exactly the ports that a wish names, of those that end outside."""
    named: Any = wish.get("ports")
    ports = {name: port for name, port in session.case.ports.items() if port.to == "outside"}
    if not isinstance(named, list) or not set(map(str, named)) <= set(ports):
        raise AirpathError("only ports that end outside can be shut")
    shut = {name: name in named for name in ports}
    return {("ports", name, "covered"): shut[name] for name, port in ports.items() if port.covered != shut[name]}


def _door(session: Session, wish: Message) -> Changes:
    """Return the change that puts one of the states of the room's door, counted from 0, before the others."""
    room, state = session.case.room, wish.get("state")
    areas = () if room is None else room.opening
    states = list(dict.fromkeys(areas))
    if not isinstance(state, int) or not 0 < state < len(states):
        raise AirpathError("the door has no such other state")
    written = list(tomllib.loads(session.text)["room"]["opening"])
    written.insert(0, written.pop(areas.index(states[state])))
    return {("room", "opening"): written}


def _outline(session: Session, wish: Message) -> Changes:
    depth = str(wish["depth"]) if wish.get("depth") else None
    part, name, unit = (str(wish.get(key)) for key in ("part", "name", "unit"))
    if not session.dropped.has(name):  # a page may not name any other file
        raise AirpathError(f'no outline "{name[:40]}" was dropped on the page')
    return outline_changes(tomllib.loads(session.text), part, name, unit, depth)
