"""Writes the JSON Schema of the case file: ``python -m airpath.case.schema_file cases/case.schema.json``."""

from __future__ import annotations

import sys
from pathlib import Path

from airpath.case.json_schema import schema_json

if __name__ == "__main__":
    Path(sys.argv[1]).write_text(schema_json(), encoding="utf-8")
