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
    lines = list(dict.fromkeys(str(problem) for problem in problems))
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


def shown(value: Any) -> str:
    """Return a value as it would stand in the TOML file, shortened."""
    if isinstance(value, dict):
        text = "{ " + ", ".join(f"{key} = {shown(item)}" for key, item in list(value.items())[:8]) + " }"
    elif isinstance(value, (list, tuple)):
        text = "[" + ", ".join(shown(item) for item in value[:8]) + "]"
    elif isinstance(value, (date, datetime, time, float)):
        text = str(value)
    else:
        text = json.dumps(value, ensure_ascii=False)
    return text if len(text) <= _LONGEST_VALUE else text[: _LONGEST_VALUE - 3] + "..."
