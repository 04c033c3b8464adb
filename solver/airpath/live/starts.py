"""The box types of the trade as starting points, with invented values."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from airpath.case.load import parse
from airpath.case.schema import Case
from airpath.errors import AirpathError
from airpath.live.drawing import drawing
from airpath.live.session import Session

STARTS = {
    "sealed": "one closed chamber: simple, small, rolls off gently",
    "vented": "a chamber with a port: more at the tuning, little below it",
    "double-chamber": "two chambers, three ports: two tunings",
    "bandpass": "the driver inside, between a closed chamber and a vented one: one band only",
    "horn": "a closed rear chamber and a horn in front: loud for its power, large for its depth",
    "labyrinth": "a long stuffed line behind the driver: a quarter-wave resonance",
}


def starts() -> list[dict[str, str]]:
    """Return name and words of every box type."""
    return [
        {"box": name, "title": name.replace("-", " "), "words": words, "drawing": drawing(_case(name), {})}
        for name, words in STARTS.items()
    ]


def _case(box: str) -> Case:
    return parse(start_text(box), Path(f"{box}.toml"))


def start_text(box: str) -> str:
    """Return the case text of a box type. Raises AirpathError for one that there isn't."""
    if box not in STARTS:
        raise AirpathError(f'there is no box type "{box[:40]}"; choose from {", ".join(STARTS)}')
    return (files("airpath.live") / "boxes" / f"{box}.toml").read_text(encoding="utf-8")


def new_session(box: str, folder: Path) -> Session:
    """Return a session that starts from a box type and will be written into ``folder``. Raises AirpathError."""
    return Session(folder / f"{box}.toml", start_text(box), new=True)

