"""A case under the hands: the file is the truth, the page's changes lie on top of it until they are written.

What was last good stays, whatever becomes of the file; nothing is written before `Session.save`.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from airpath.case.edit import differences, edited
from airpath.case.load import parse
from airpath.case.parameters import Parameter, Step, parameters
from airpath.case.schema import Case
from airpath.errors import AirpathError, CaseError
from airpath.live.disk import Disk, Stamp, checked_name
from airpath.live.dropped import Dropped
from airpath.live.history import Changes, History

Fate = Literal["new", "same", "broken", "gone"]


@dataclass(frozen=True, kw_only=True)
class Difference:
    """One value that the file doesn't hold yet: its place, as TOML holds it there and here; None: nothing."""

    place: str
    was: Any
    now: Any


class Session:
    """One case; ``fate`` is how the file is: never written, as read, broken or gone; ``trouble`` says so in words.

    ``text`` and ``case`` are what the page holds; ``file_case`` is what the file held when it was last read.
    """

    def __init__(self, path: Path, text: str, *, new: bool = False) -> None:
        """Take a case's text: read from ``path``, or ``new`` and to be written there. Raises CaseError."""
        self.disk = Disk(path)
        self.history = History()
        self.dropped = Dropped()
        self.fate: Fate = "new" if new else "same"
        self.trouble = ""
        self._in_file = "" if new else text
        self._base = self.text = text
        self.case = self.file_case = parse(text, path)
        self._stamp: Stamp | None = None if new else self.disk.stamp()
        self._held = ""  # the parameter under the hand
        self._start: tuple[str, Case, dict[str, Parameter]] | None = None  # as it was before the step under the hand

    @classmethod
    def open(cls, path: Path) -> Session:
        """Return the session of a case file. Raises CaseError."""
        return cls(path, Disk(path).read())

    @property
    def path(self) -> Path:
        """Where the case stands, or will stand."""
        return self.disk.path

    @property
    def working_text(self) -> str:
        """The page's text with dropped files named by where they are kept until they are written."""
        return self.dropped.working(self.text)

    def knobs(self) -> dict[str, Parameter]:
        """Return what can be turned, by name."""
        return parameters(self.case)

    def holds(self, name: str) -> bool:
        """Whether a parameter has been turned since the last step: the hand is on it."""
        return self.history.open_step is not None and self._held == name

    def turn(self, name: str, value: float) -> None:
        """Set a parameter [SI] while it is under the hand; another one under the hand is let go of.

        Raises CaseError; what was there stays then.
        """
        if not self.holds(name):
            self.settle()
            self._held = name
        if self._start is None:
            text = edited(self._base, self.history.settled())
            before = self._parse(text)
            self._start = text, before, parameters(before)
        text, before, known = self._start
        if name not in known:
            raise CaseError(f'{self.path.name}: there is no "{name}" to turn')
        self._try(differences(text, before, known[name].changed(value)))

    def cover(self, port: str, covered: bool) -> None:
        """Put a cap on a port's outer end, or take it off: one step. Raises CaseError."""
        if port not in self.case.ports:
            raise CaseError(f'{self.path.name}: there is no port "{port}" to cover')
        self.change({("ports", port, "covered"): covered})

    def change(self, changes: Changes) -> None:
        """Set values as TOML holds them, as one step that can be taken back. Raises CaseError."""
        self.settle()
        self._try(changes)
        self.settle()

    def take_back(self) -> None:
        """Take the last step back for good: it turned out to be of no use."""
        self.undo()
        self.history.undone.pop()

    def settle(self) -> None:
        """Let go of what is under the hand: it becomes a step that can be taken back."""
        self.history.close()
        self._start = None

    def undo(self) -> None:
        """Take the last step back."""
        self.history.undo()
        self._renew()

    def redo(self) -> None:
        """Bring the step that was last taken back."""
        self.history.redo()
        self._renew()

    def differences(self) -> list[Difference]:
        """Return what the file doesn't hold yet, in the order of the file's tables."""
        if self.fate == "new":
            return []
        was, now = (_leaves(tomllib.loads(text)) for text in (self._in_file, self.text))
        places = dict.fromkeys([*now, *was])
        return [
            Difference(place=_written(place), was=was.get(place), now=now.get(place))
            for place in places
            if was.get(place) != now.get(place)
        ]

    @property
    def unwritten(self) -> bool:
        """Whether the page holds something that the file doesn't."""
        return self.fate in ("new", "gone") or self.text != self._in_file

    def look(self) -> bool:
        """Look at the file again; return whether anything is new: another text, broken, gone or back."""
        if self.fate == "new":
            return False
        stamp = self.disk.stamp()
        if stamp == self._stamp:
            return False
        self._stamp = stamp
        was = (self.fate, self.trouble, self.text)
        if stamp is None:
            self.fate = "gone"
            self.trouble = f"{self.path.name} is gone. The page keeps what it held; Write to file makes it again."
        else:
            self._read()
        return (self.fate, self.trouble, self.text) != was

    def save(self, name: str | None = None) -> None:
        """Write the page's text to the file, unless that changed in the meantime; a new case may get a ``name`` first.

        Raises AirpathError; nothing is written then.
        """
        self.settle()
        if name is not None and self.fate == "new":
            self.disk = Disk(self.path.with_name(checked_name(name)))
            self.case = self._parse(self.text)
        if self.look() and self.fate != "gone":
            raise AirpathError(f"{self.path.name} was changed meanwhile: nothing was written. Look, and write again.")
        if self.fate == "broken":
            raise AirpathError(f"{self.path.name} is broken now: mend or remove it first, nothing was written over it.")
        self.dropped.place(self.text, self.path.resolve().parent)
        self.disk.write(self.text, fresh=self.fate == "new")
        self._in_file, self.fate, self.trouble = self.text, "same", ""
        self._stamp = self.disk.stamp()
        self.history.mark_written()

    def _read(self) -> None:
        """Take the file's text as the new start; the page's own changes stay on top if they still fit."""
        try:
            text = self.disk.read()
            case = self._parse(text)
        except CaseError as error:
            self.fate, self.trouble = "broken", f"The file can't be read as it is now. {error}"
            return
        mended = self.fate != "same"
        self.fate, self.trouble = "same", ""
        if text == self._in_file:
            self.trouble = "The file is whole again." if mended else ""
            return
        self._in_file = self._base = text
        self.file_case = case
        self.history.forget_written()
        self.trouble = "The file was changed outside and is read again."
        try:
            self._renew()
        except AirpathError as error:
            self.history.set_aside()
            self.text, self.case = text, case
            self.trouble += f" The page's own changes don't fit any more and are set aside, Redo brings them: {error}"
            return
        if self.history.done:
            self.trouble += " The page's own changes stay on top of it."

    def _parse(self, text: str) -> Case:
        return parse(self.dropped.working(text), self.path)

    def _try(self, changes: Changes) -> None:
        """Put changes on top if the case they make is a good one. Raises CaseError."""
        text = edited(self._base, {**self.history.settled(), **changes})
        case = self._parse(text)
        self.history.open_step, self.text, self.case = changes, text, case

    def _renew(self) -> None:
        self._start = None
        text = edited(self._base, self.history.all())
        self.case, self.text = self._parse(text), text


def _leaves(table: Any, place: tuple[Step, ...] = ()) -> dict[tuple[Step, ...], Any]:
    """Return every value of a TOML table by its place; a list of values is one value."""
    if not isinstance(table, dict):
        return {place: table}
    return {at: value for key, inner in table.items() for at, value in _leaves(inner, (*place, key)).items()}


def _written(place: tuple[Step, ...]) -> str:
    from tomlkit import key

    head = ".".join(key(str(step)).as_string() for step in place[:-1])
    return f"[{head}] {place[-1]}" if head else str(place[-1])
