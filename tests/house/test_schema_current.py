"""The JSON Schema beside the cases is the one of the models, and it knows good files from bad ones."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from airpath.case import schema_json
from case_texts import ROUND, VALID, changed

CASES = Path(__file__).parents[2] / "cases"


@pytest.fixture(scope="module")
def schema() -> dict[str, Any]:
    return json.loads(schema_json())


def test_the_file_is_current() -> None:
    ours = (CASES / "case.schema.json").read_text(encoding="utf-8")
    assert ours == schema_json(), "run `make schema`"


def test_it_is_a_schema(schema: dict[str, Any]) -> None:
    jsonschema.Draft202012Validator.check_schema(schema)


@pytest.mark.parametrize("base", VALID)
def test_valid_cases_pass(base: str, schema: dict[str, Any]) -> None:
    jsonschema.validate(VALID[base], schema)


@pytest.mark.parametrize("path", sorted(CASES.glob("*.toml")), ids=lambda path: path.stem)
def test_the_demo_cases_pass(path: Path, schema: dict[str, Any]) -> None:
    jsonschema.validate(tomllib.loads(path.read_text(encoding="utf-8")), schema)


@pytest.mark.parametrize(
    ("place", "value"),
    [
        (("ports", "nose", "length"), 120),
        (("ports", "nose", "length"), "120"),
        (("ports", "nose", "lenght"), "120 mm"),
        (("driver", "Qms"), "4"),
        (("listener", "space"), "whole"),
        (("room", "opening"), 4),
    ],
)
def test_wrong_cases_do_not_pass(place: tuple[str, ...], value: Any, schema: dict[str, Any]) -> None:
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(changed(ROUND, place, value), schema)


def test_every_key_is_described(schema: dict[str, Any]) -> None:
    tables = {"case": schema, **schema["$defs"]}
    for name, table in tables.items():
        for key, item in table["properties"].items():
            described = item.get("description") or tables[item["$ref"].rsplit("/", 1)[1]].get("description")
            assert described, f"{name}.{key}"


def test_keys_with_a_unit_say_which(schema: dict[str, Any]) -> None:
    length = schema["$defs"]["Port"]["properties"]["length"]
    assert "Units: m, cm, mm, in, ft." in length["description"]
