"""Published values, one row of a table each, against what airpath makes of the same inputs."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import published_boxes
import published_quantities

HERE = Path(__file__).parent
TABLES = (
    "air", "boxes", "double-chamber", "ducts", "ends", "hearing", "horns", "pipes", "porous", "radiation",
)  # fmt: skip
KEYS = {"quantity", "inputs", "value", "unit", "source", "from_memory", "tolerance", "absolute", "reason"}


def rows() -> Iterator[Any]:
    for table in TABLES:
        for number, row in enumerate(tomllib.loads((HERE / f"{table}.toml").read_text())["value"]):
            yield pytest.param(row, id=f"{table}-{number}-{row['quantity']}")


def as_array(value: Any) -> np.ndarray:
    if isinstance(value, dict):
        return np.array([complex(value["re"], value["im"])])
    return np.atleast_1d(np.asarray(value))


def made(row: dict[str, Any]) -> np.ndarray:
    quantity = getattr(published_quantities, row["quantity"], None) or getattr(published_boxes, row["quantity"])
    return as_array(quantity(**row["inputs"]))


def error(row: dict[str, Any]) -> float:
    """Return the largest deviation of a row: absolute in the row's unit if it says so, else relative."""
    want, got = as_array(row["value"]), made(row)
    assert got.shape == want.shape, f"{got} for {want}"
    scale = 1.0 if row.get("absolute") else np.abs(want)
    return float((np.abs(got - want) / scale).max())


@pytest.mark.parametrize("row", list(rows()))
def test_value_agrees_with_its_source(row: dict[str, Any]) -> None:
    assert error(row) <= row["tolerance"], f"{row['source']}: {made(row)} {row['unit']}, published {row['value']}"


@pytest.mark.parametrize("row", list(rows()))
def test_row_says_where_it_comes_from(row: dict[str, Any]) -> None:
    assert not row.keys() - KEYS
    assert isinstance(row["from_memory"], bool)
    assert min(len(row["source"]), len(row["reason"]), len(row["unit"])) > 0
    assert 0 < row["tolerance"] <= 0.1
