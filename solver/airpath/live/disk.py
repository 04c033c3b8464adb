"""A case file on the disk: read whole, watched, and written in one step."""

from __future__ import annotations

import os
import re
from contextlib import suppress
from pathlib import Path

from airpath.case.load import read
from airpath.errors import AirpathError

Stamp = tuple[int, int, int]
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9 _-]{0,60}\.toml")


class Disk:
    """The file at ``path``."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def stamp(self) -> Stamp | None:
        """Return what changes whenever the file does, None if there is none."""
        try:
            found = self.path.stat()
        except OSError:
            return None
        return found.st_mtime_ns, found.st_size, found.st_ino

    def read(self) -> str:
        """Return the file's text. Raises CaseError."""
        return read(self.path)

    def write(self, text: str, *, fresh: bool = False) -> None:
        """Replace the file in one step; a ``fresh`` one must not be there yet. Raises AirpathError."""
        place_whole(self.path.resolve(), text.encode(), fresh=fresh)


def place_whole(path: Path, data: bytes, *, fresh: bool) -> None:
    """Put a file in place in one step; a ``fresh`` one never replaces another. Raises AirpathError."""
    try:
        if fresh:
            with path.open("xb") as file:
                file.write(data)
        else:
            _replace(path, data)
    except FileExistsError:
        raise AirpathError(f"{path.name} is there already; choose another name, nothing was written.") from None
    except OSError as error:
        raise AirpathError(f"can't write {path.name}: {error.strerror or error}; nothing was written.") from error


def _replace(path: Path, data: bytes) -> None:
    aside = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        aside.unlink(missing_ok=True)
        with aside.open("xb") as file:  # never through a link that stands there
            file.write(data)
        with suppress(OSError):
            aside.chmod(path.stat().st_mode & 0o777)
        aside.replace(path)
    finally:
        with suppress(OSError):
            aside.unlink()


def checked_name(name: str) -> str:
    """Return the name of a new case file. Raises AirpathError when it is none, or leads out of the folder."""
    name = name.strip()
    name = name if name.endswith(".toml") else f"{name}.toml"
    if not _NAME.fullmatch(name):
        raise AirpathError(
            f'"{name[:60]}" is no name for a case file: expected letters, digits, blanks, - and _, ending in .toml'
        )
    return name
