"""Files dropped on the page: kept aside, used from there, and put beside the case only when it is written."""

from __future__ import annotations

import os
import re
import stat
import tomllib
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from airpath.case.edit import edited
from airpath.errors import AirpathError
from airpath.live.disk import place_whole
from airpath.live.history import Path as Place

SWEEPS, OUTLINES = (".csv", ".txt", ".tsv", ".s1p", ".z1p"), (".dxf", ".msh")
_ODD = re.compile(r"[^\w .()+-]")


class Dropped:
    """The files that were dropped on one case's page, by the name under which they will stand beside it."""

    def __init__(self) -> None:
        self._folder: TemporaryDirectory[str] | None = None
        self._names: set[str] = set()

    def keep(self, name: str, data: bytes, folder: Path) -> str:
        """Keep a file and return its name: a plain one, and not that of another file in the case's ``folder``.

        Raises AirpathError for a kind of file that the page can't use.
        """
        plain = _ODD.sub("_", name.replace("\\", "/").rsplit("/", 1)[-1]).strip(" .")[-80:]
        ending = Path(plain).suffix.lower()
        if ending not in (*SWEEPS, *OUTLINES) or not Path(plain).stem:
            raise AirpathError(
                f'"{plain}": a measured sweep ({", ".join(SWEEPS)}) or an outline ({", ".join(OUTLINES)}) is expected'
            )
        name, number = plain, 1
        while _taken(folder / name, data) or name in self._names:
            number += 1
            name = f"{Path(plain).stem} {number}{Path(plain).suffix}"
        self.path(name).write_bytes(data)
        self._names.add(name)
        return name

    def path(self, name: str) -> Path:
        """Return where a dropped file is kept."""
        if self._folder is None:
            self._folder = TemporaryDirectory(prefix="airpath-")
        return Path(self._folder.name) / name

    def has(self, name: str) -> bool:
        """Whether a file of this name was dropped and is not written yet."""
        return name in self._names

    def forget(self, name: str) -> None:
        """Drop a file that is of no use after all."""
        self._names.discard(name)
        self.path(name).unlink(missing_ok=True)

    def working(self, text: str) -> str:
        """Return a case's text with dropped files named by where they are kept."""
        found = {place: str(self.path(name)) for place, name in self._used(text)}
        return edited(text, found) if found else text

    def told(self, text: str) -> str:
        """Return a message without the place where dropped files are kept."""
        return text if self._folder is None else text.replace(f"{self._folder.name}{os.sep}", "")

    def place(self, text: str, folder: Path) -> None:
        """Put what a case's text names into its folder; nothing there is ever replaced. Raises AirpathError."""
        for _, name in self._used(text):
            data = self.path(name).read_bytes()
            target = folder / name
            if not (target.is_file() and target.read_bytes() == data):
                place_whole(target, data, fresh=True)
            self._names.discard(name)

    def close(self) -> None:
        """Throw everything kept aside away."""
        if self._folder is not None:
            self._folder.cleanup()

    def _used(self, text: str) -> Iterator[tuple[Place, str]]:
        if not self._names:
            return
        data = tomllib.loads(text)
        tables: dict[Place, Any] = {(): data}
        for kind in ("chambers", "horns"):
            tables |= {(kind, name): table for name, table in data.get(kind, {}).items()}
        for place, table in tables.items():
            key = "outline" if place else "measured"
            if isinstance(table, dict) and table.get(key) in self._names:
                yield (*place, key), table[key]


def _taken(path: Path, data: bytes) -> bool:
    """Whether another file stands there already."""
    try:
        found = path.lstat()
        return not stat.S_ISREG(found.st_mode) or found.st_size != len(data) or path.read_bytes() != data
    except FileNotFoundError:
        return False
    except OSError:
        return True


def outline_changes(data: dict[str, Any], part: str, name: str, unit: str, depth: str | None) -> dict[Place, Any]:
    """Return the changes that give a chamber or horn an outline in place of its dimensions. Raises AirpathError.

    ``data``: the case as TOML holds it; ``depth``: of a flat drawing, None for a half section turned about its axis.
    """
    kind = next((kind for kind in ("chambers", "horns") if part in data.get(kind, {})), None)
    if kind is None:
        raise AirpathError(f'there is no chamber or horn "{part[:40]}" to give the outline to')
    gone = {"chambers": ("volume", "size"), "horns": ("profile", "T", "throat", "mouth", "length", "stations")}[kind]
    own = data[kind][part]
    changes: dict[Place, Any] = {(kind, part, key): None for key in gone if key in own}
    changes |= {(kind, part, "outline"): name, (kind, part, "outline_unit"): unit}
    if depth is not None or "outline_depth" in own:
        changes[kind, part, "outline_depth"] = depth
    if kind == "chambers":  # a drawing says itself where everything joins it
        changes |= dict.fromkeys(_places(data, part))
    return changes


def _places(data: dict[str, Any], chamber: str) -> Iterator[Place]:
    """Yield every position that the case gives in a chamber."""
    for side in ("front", "rear"):
        if data["driver"].get(side) == chamber and f"{side}_at" in data["driver"]:
            yield ("driver", f"{side}_at")
    for kind in ("ports", "horns"):
        for name, table in data.get(kind, {}).items():
            for end in ("from", "to"):
                if table.get(end) == chamber and f"{end}_at" in table:
                    yield (kind, name, f"{end}_at")
