"""The case file: what may stand in it, and how it becomes a `Case`."""

from __future__ import annotations

from airpath.case.json_schema import schema_json
from airpath.case.load import load, parse
from airpath.case.schema import Case

__all__ = ["Case", "load", "parse", "schema_json"]
