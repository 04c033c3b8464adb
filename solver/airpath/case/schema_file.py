"""Writes the JSON Schema of the case file: ``python -m airpath.case.schema_file [FILE]``, from the project's folder."""

from __future__ import annotations

import sys
from pathlib import Path

from airpath.case.json_schema import schema_json

if __name__ == "__main__":
    file = Path(sys.argv[1] if len(sys.argv) > 1 else "cases/case.schema.json")
    file.write_text(schema_json(), encoding="utf-8")
