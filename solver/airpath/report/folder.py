"""A result folder written whole or not at all."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterable
from pathlib import Path

from airpath.errors import AirpathError


def write_whole(content: dict[str, bytes], folder: Path, replaces: Iterable[str] = ()) -> list[Path]:
    """Write files into a folder, each by its name, and return their paths; files of others there stay.

    ``replaces``: patterns of the files that an earlier run may have left and that go if they are not written anew.
    All are written aside first and then moved, each in one step. Raises AirpathError when the folder can't be written.
    """
    try:
        _write(content, folder)
        for old in {path for pattern in replaces for path in folder.glob(pattern)}:
            if old.name not in content and old.is_file():
                old.unlink()
    except OSError as error:
        raise AirpathError(f"can't write to {folder}: {error.strerror or error}") from error
    return [folder / name for name in content]


def _write(content: dict[str, bytes], folder: Path) -> None:
    there = folder.is_dir()
    if folder.exists() and not there:
        raise NotADirectoryError(0, "it is a file, not a folder")
    for name in content:
        place = folder / name
        if place.is_dir():
            raise IsADirectoryError(0, f"{name} is a folder there")
        if place.exists() and not place.is_file():  # a device or a pipe would be gone
            raise OSError(0, f"{name} is no file there")
    stage = (folder if there else folder.parent) / f".airpath-{os.getpid()}"
    stage.mkdir(parents=True)
    try:
        for name, data in content.items():
            (stage / name).write_bytes(data)
        if not there:
            stage.replace(folder)
            return
        for name in content:
            (stage / name).replace(folder / name)
    finally:
        shutil.rmtree(stage, ignore_errors=True)
