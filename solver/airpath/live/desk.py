"""The desk on which a case is worked on: takes what a page asks for, and says what every page has to show.

All of it runs in one thread; what takes long runs in the study's process.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from airpath.errors import AirpathError
from airpath.live import views
from airpath.live.engine import Engine
from airpath.live.plots import Plots
from airpath.live.session import Session
from airpath.live.starts import new_session, starts
from airpath.live.study import News, Study

Message = dict[str, Any]
Say = Callable[[Message], None]


class Desk:
    """One case, or none yet, and everything known of it; ``say`` sends a message to every page."""

    def __init__(self, path: Path | None, folder: Path, say: Say, hear: Callable[[News], None]) -> None:
        """Open a case file, or offer box types to start from in ``folder``. ``hear``: takes the study's news, from a
        thread of its own, and brings them back to `news`. Raises CaseError, FidelityError or AccuracyError."""
        self.folder, self._say, self._hear = folder, say, hear
        self.session: Session | None = None
        self._study: Study | None = None
        self._engine, self._plots = Engine(), Plots()
        self._revision = 0
        self._moving = False
        self._known: dict[str, Message] = {}  # the last of each kind, for a page that comes later
        if path is not None:
            self._take(Session.open(path))

    def welcome(self) -> list[Message]:
        """Return what a page needs that has just come."""
        if self.session is None:
            return [{"what": "starts", "starts": starts(), "folder": str(self.folder)}]
        return [views.state(self.session), {**self._plots.whole(), "moving": False, "studied": "features" in self._known}, *self._known.values()]

    def ask(self, wish: Message) -> None:
        """Do what a page asks for. What can't be done is said, and changes nothing."""
        try:
            self._do(str(wish.get("do")), wish)
        except AirpathError as error:
            self._tell({"what": "said", "kind": "refused", "text": str(error), "serial": wish.get("serial")})

    def look(self) -> None:
        """Look whether the file has changed, and at the study."""
        if self._study is not None:
            self._study.next()
        session = self.session
        if session is None:
            return
        text = session.text
        if not session.look():
            return
        if session.text == text:
            self._tell(views.state(session))
            return
        self._plots.freeze()
        try:
            self._settled()
        except AirpathError as error:
            self._tell({"what": "said", "kind": "refused", "text": str(error)})

    def news(self, news: News) -> None:
        """Take what the study found, unless the case is another one by now."""
        if self._study is None:
            return
        self._study.heard(news)
        if news.revision != self._revision or self._moving:
            return
        if news.kind == "prediction":
            self._plots.now = news.value
            self._curves(studied=True)
        elif news.kind == "features":
            self._plots.flags = views.flags(news.value)
            self._curves(studied=True)
            best = self._plots.now.best if self._plots.now is not None else ""
            self._tell(views.features(news.value, best))
        elif news.kind == "step":
            self._tell({"what": "busy", "text": str(news.value)})
        elif news.kind == "done":
            self._tell({"what": "busy", "text": ""})
        else:
            self._tell({"what": "busy", "text": ""})
            text = "The background calculation stopped; it starts again with the next change."
            self._tell({"what": "said", "kind": "refused", "text": text if news.kind == "died" else str(news.value)})

    def close(self) -> None:
        """End the study's process."""
        if self._study is not None:
            self._study.close()

    def _do(self, what: str, wish: Message) -> None:
        session = self.session
        if what == "start" and session is None:
            self._take(new_session(str(wish.get("box")), self.folder))
            self._say({"what": "reload"})
            return
        if session is None:
            raise AirpathError("there is no case yet: choose a box to start from")
        if what == "turn":
            self._turn(session, wish)
            return
        doing: dict[str, Callable[[], None]] = {
            "settle": session.settle, "undo": session.undo, "redo": session.redo,
            "shut": lambda: session.cover(str(wish.get("port")), bool(wish.get("shut"))),
            "save": lambda: session.save(None if wish.get("name") is None else str(wish["name"])),
        }  # fmt: skip
        if what not in doing:
            raise AirpathError(f'there is nothing called "{what[:40]}" to do')
        if not self._moving and what in ("undo", "redo", "shut"):
            self._plots.freeze()
        doing[what]()
        if what == "save":
            self._tell({"what": "said", "kind": "done", "text": f"Written to {session.path.name}."})
        if what == "save" and not self._moving:
            self._tell(views.state(session))
        else:
            self._settled()

    def _turn(self, session: Session, wish: Message) -> None:
        knob = session.knobs().get(str(wish.get("name")))
        value = wish.get("value")
        if knob is None or not isinstance(value, int | float):
            raise AirpathError("that is nothing that can be turned")
        if session.history.open_step is None:
            self._plots.freeze()
        session.turn(knob.name, float(value) * knob.si)
        self._moving = True
        self._revision += 1
        self._plots.flags = []
        try:
            self._plots.now = self._engine.predict(session.case, moving=True)
            self._curves(serial=wish.get("serial"))
        finally:
            self._tell(views.state(session))

    def _take(self, session: Session) -> None:
        self.session = session
        self._plots.now = self._engine.predict(session.case)
        self._study = Study(self._hear)
        self._settled()

    def _settled(self) -> None:
        """Show the case by the line model over its whole sweep, and have everything else studied."""
        session = self.session
        assert session is not None
        self._moving = False
        self._revision += 1
        self._plots.now = self._engine.predict(session.case)
        self._plots.flags = []
        self._known.pop("features", None)
        self._curves()
        self._tell(views.state(session))
        if self._study is not None:
            self._tell({"what": "busy", "text": "solving every fidelity"})
            self._study.ask(self._revision, session.text, session.path)

    def _curves(self, *, studied: bool = False, serial: Any = None) -> None:
        now = self._plots.now
        assert now is not None
        points = len(now.responses["line"].frequency)
        self._say({**self._plots.news(), "moving": self._moving, "studied": studied, "serial": serial, "points": points})
        self._tell({"what": "results", "moving": self._moving, **views.results(now)})

    def _tell(self, message: Message) -> None:
        if message["what"] in ("results", "features", "busy"):
            self._known[message["what"]] = message
        self._say(message)
