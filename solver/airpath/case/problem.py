"""What is wrong with a case file, one `Problem` per place, and the one message that they make together."""

from __future__ import annotations

import difflib
import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any

MISSING = object()
_MOST_SHOWN = 6
_LONGEST_VALUE = 80


@dataclass(frozen=True, kw_only=True)
class Problem:
    """One wrong place: ``table`` ("" at the top), ``key`` ("" for the table itself), what was found there
    (MISSING: nothing) and what is expected."""

    table: str
    key: str
    found: object
    expected: str

    def __str__(self) -> str:
        place = f"[{self.table}]" if self.table else "top of the file:"
        if not self.key:
            return f"{place} {self.expected}"
        if self.found is MISSING:
            return f"{place} {self.key} is missing: {self.expected}"
        return f"{place} {self.key} = {shown(self.found)}: {self.expected}"


def message(file: str, problems: Sequence[Problem]) -> str:
    """Return one text for all problems of a file: a single line, or a list below one heading."""
    lines = list(dict.fromkeys(_printable(str(problem)) for problem in problems))
    if len(lines) == 1:
        return f"{file}: {lines[0]}"
    more = [f"  and {len(lines) - _MOST_SHOWN} more"] if len(lines) > _MOST_SHOWN else []
    listed = [f"  {line}" for line in lines[:_MOST_SHOWN]]
    return "\n".join([f"{file}: {len(lines)} problems", *listed, *more])


def nearest(name: str, known: Iterable[str], what: str = "key") -> str:
    """Return words that name the known key closest to a wrong one, or all of them."""
    known = list(known)
    lower = {key.lower(): key for key in known}
    close = difflib.get_close_matches(name.lower(), lower, n=1, cutoff=0.5)
    if close:
        return f'"{lower[close[0]]}" is the nearest known {what}'
    return f"known here: {', '.join(known)}" if known else f"there is no {what} to choose from"


def shown(value: Any, depth: int = 3) -> str:
    """Return a value as it would stand in the TOML file, shortened."""
    if isinstance(value, (dict, list, tuple)) and depth == 0:
        text = "..."
    elif isinstance(value, dict):
        items = [f"{key} = {shown(item, depth - 1)}" for key, item in list(value.items())[:8]]
        text = "{ " + ", ".join(items) + " }"
    elif isinstance(value, (list, tuple)):
        text = "[" + ", ".join(shown(item, depth - 1) for item in value[:8]) + "]"
    elif isinstance(value, int) and abs(value) > 10**40:
        text = "a very long number"
    elif isinstance(value, (date, datetime, time, float)):
        text = str(value)
    else:
        text = json.dumps(value, ensure_ascii=False)
    return _printable(text if len(text) <= _LONGEST_VALUE else text[: _LONGEST_VALUE - 3] + "...")


def _printable(text: str) -> str:
    """Keep what a file contains from steering the terminal."""
    return "".join(sign if sign.isprintable() else f"\\u{ord(sign):04x}" for sign in text)
