"""The JSON Schema of the case file, made from the models: editors complete and check case files with it."""

from __future__ import annotations

import json
from typing import Any

from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue
from pydantic_core import core_schema

from airpath.case.schema import Case


class _TomlSchema(GenerateJsonSchema):
    """TOML has no null, and the keys are their own titles."""

    def nullable_schema(self, schema: core_schema.NullableSchema) -> JsonSchemaValue:
        return self.generate_inner(schema["schema"])

    def field_title_should_be_set(self, schema: Any) -> bool:
        return False


def schema_json() -> str:
    """Return the JSON Schema of the case file as text, made from the models."""
    schema = Case.model_json_schema(by_alias=True, mode="validation", schema_generator=_TomlSchema)
    _polish(schema)
    schema["title"] = "airpath case file"
    schema = {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"


def _polish(node: Any) -> None:
    """Drop empty defaults; say the units of a quantity where editors show them."""
    if isinstance(node, list):
        for item in node:
            _polish(item)
        return
    if not isinstance(node, dict):
        return
    if "default" in node and node["default"] in (None, {}):
        del node["default"]
    comment = node.pop("$comment", None)
    if comment is not None:
        node["description"] = f"{node['description']} {comment}" if "description" in node else comment
    for item in list(node.values()):
        _polish(item)
