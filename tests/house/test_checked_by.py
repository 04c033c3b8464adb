"""What a docstring says it is checked by is there."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).parents[2]


def test_every_check_that_is_named_exists() -> None:
    missing = []
    for path in (ROOT / "solver").rglob("*.py"):
        for sentence in re.findall(r"Checked by:?\s+([^\"]*)", path.read_text(encoding="utf-8")):
            named = re.findall(r"(?:tests/)?((?:unit|physics|published|cases|crosscheck)/[\w-]+)", sentence)
            missing += [f"{path.relative_to(ROOT)}: {name}" for name in named if not _is_there(name)]
    assert not missing, missing


def _is_there(name: str) -> bool:
    return any((ROOT / "tests" / f"{name}{ending}").is_file() for ending in (".py", ".toml"))
