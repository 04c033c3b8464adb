"""Every field of every table, given everything it should not be: one clear message each, never another error."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic.fields import FieldInfo

import case_texts
from airpath.case import load
from airpath.case.quantity import Choice, NewName, Number, Quantity, Switch, Text
from airpath.case.schema import Case
from airpath.case.table import Table
from airpath.case.walk import fields_of, is_named, parts_of, table_of
from airpath.errors import CaseError
from airpath.units import DIMENSIONS
from case_texts import VALID, Data, changed, del_, write

Place = tuple[str, ...]
NAMES_OF_SPACES = {"from", "to", "front", "rear"}


def places(model: type[Table], data: Data, above: Place = ()) -> Iterator[tuple[Place, type[Table], FieldInfo]]:
    """Yield every key of a case with its model and field, tables themselves included."""
    for key, field in fields_of(model).items():
        if key not in data:
            continue
        place = (*above, key)
        yield place, model, field
        inner = table_of(field.annotation)
        if inner is None:
            continue
        tables = data[key].items() if is_named(field.annotation) else [(None, data[key])]
        for name, table in tables:
            yield from places(inner, table, place if name is None else (*place, name))


FIELDS = [
    pytest.param(base, place, field, id=f"{base}:{'.'.join(place)}")
    for base, data in VALID.items()
    for place, _, field in places(Case, data)
]


def rules_of(field: FieldInfo) -> list[Any]:
    rules = (Quantity, Number, Text, Choice, Switch)
    return [part for part in [*field.metadata, *parts_of(field.annotation)] if isinstance(part, rules)]


def bad_quantities(rule: Quantity) -> Iterator[Any]:
    unit = DIMENSIONS[rule.dimension].units[0]
    other = "12 mm" if rule.dimension == "frequency" else "12 Hz"
    yield from (5, 5.0, math.inf, math.nan, True, [], {}, "", "12", "abc", unit, other, "12 parsec", f"1,5 {unit}")
    yield from (f"nan {unit}", f"inf {unit}", f"1e999 {unit}", f"1e30 {unit}", f"12 {unit}^9^9^9^9", f"12 m {unit}")
    yield f"-300 {unit}"
    if not rule.low.startswith(("0 ", "-")):
        yield f"0 {unit}"


def bad_numbers(rule: Number) -> Iterator[Any]:
    yield from ("5", "text", True, [], {}, -1, -1.0, math.inf, -math.inf, math.nan, 1e30, 10**400)
    if rule.low > 0:
        yield from (0, 0.0)
    if rule.whole:
        yield from (rule.low + 0.5, float(rule.low))


def bad_values(field: FieldInfo) -> Iterator[Any]:
    """Yield what a field must refuse, from its own rules."""
    if table_of(field.annotation) is not None:
        yield from (5, "text", True, [], math.nan)
        return
    rules = rules_of(field)
    assert rules, "a field without a rule takes anything"
    rule = rules[0]
    is_list = any(getattr(part, "__origin__", None) is tuple for part in parts_of(field.annotation))
    if is_list:
        yield from (5, True, {}, "abc", [[]], [{}], [True], ["12 parsec"] * 3, ["1 mm", 5, "1 mm"], ["1 mm"] * 2000)
    elif isinstance(rule, Quantity):
        yield from bad_quantities(rule)
    elif isinstance(rule, Number):
        yield from bad_numbers(rule)
    elif isinstance(rule, Switch):
        yield from ("true", 1, 0, 1.0, [], {})
    else:
        yield from (5, 5.0, True, [], {}, math.nan, "x" * 20_000, "bell \u0007")
        if isinstance(rule, Choice):
            yield from ("", "nonsense")


def refusal(folder: Path, data: Data | str) -> str:
    path = write(folder, data)
    with pytest.raises(CaseError) as refused:
        load(path)
    return str(refused.value)


def assert_case_or_message(path: Path) -> None:
    try:
        case = load(path)
    except CaseError as refused:
        message = str(refused)
    else:
        assert isinstance(case, Case)
        return
    assert message.startswith(f"{path.name}: ")


def assert_names(message: str, place: Place) -> None:
    table, key = ".".join(place[:-1]), place[-1]
    assert message.startswith("rumble.toml: "), message
    assert any(
        (f"[{table}]" if table else "top of the file") in line and key in line for line in message.splitlines()
    ), f"{place}: {message}"
    assert len(message) < 3000


@pytest.mark.parametrize("base", VALID)
def test_the_cases_to_spoil_are_valid(base: str, tmp_path: Path) -> None:
    assert load(write(tmp_path, VALID[base])).name == "rumble"


def test_the_cases_to_spoil_give_every_key_of_every_table() -> None:
    covered = {(model, key[-1]) for data in VALID.values() for key, model, _ in places(Case, data)}
    models, wanted = [Case], set()
    while models:
        model = models.pop()
        for key, field in fields_of(model).items():
            wanted.add((model, key))
            inner = table_of(field.annotation)
            models += [inner] if inner is not None else []
    assert wanted - covered == set()


@pytest.mark.parametrize(("base", "place", "field"), FIELDS)
def test_wrong_values_are_refused(base: str, place: Place, field: FieldInfo, tmp_path: Path) -> None:
    for value in bad_values(field):
        assert_names(refusal(tmp_path, changed(VALID[base], place, value)), place)


@pytest.mark.parametrize(("base", "place", "field"), FIELDS)
def test_missing_keys_are_named_if_needed(base: str, place: Place, field: FieldInfo, tmp_path: Path) -> None:
    data = changed(VALID[base], place, del_)
    if field.is_required():
        message = refusal(tmp_path, data)
        assert_names(message, place)
        assert "missing" in message
        return
    assert_case_or_message(write(tmp_path, data))


@pytest.mark.parametrize(("base", "place", "field"), [case for case in FIELDS if len(case.values[1][-1]) > 2])
def test_misspelt_keys_are_told_the_nearest(base: str, place: Place, field: FieldInfo, tmp_path: Path) -> None:
    wrong = (*place[:-1], place[-1][:-1] + "j")
    message = refusal(tmp_path, changed(VALID[base], wrong, "5 mm"))
    assert_names(message, wrong)
    assert "nearest known key" in message


@pytest.mark.parametrize(("base", "place", "field"), [case for case in FIELDS if case.values[1][-1] in NAMES_OF_SPACES])
def test_dangling_names_are_refused(base: str, place: Place, field: FieldInfo, tmp_path: Path) -> None:
    for name in ("nowhere", "mian", "cone", "", "x" * 50):
        assert_names(refusal(tmp_path, changed(VALID[base], place, name)), place)


@pytest.mark.parametrize("name", ["outside", "cone", "driver", "a.b", "", "x" * 41, " blank", "bell\u0007"])
@pytest.mark.parametrize("table", ["chambers", "ports", "horns"])
def test_names_that_cannot_be(table: str, name: str, tmp_path: Path) -> None:
    assert any(isinstance(rule, NewName) for rule in rules_of(Case.model_fields[table]))
    example = next(iter(VALID["round"][table].values()))
    message = refusal(tmp_path, changed(VALID["round"], (table, name), example))
    assert message.startswith(f"rumble.toml: [{table}]")
    assert "a name" in message or "a text" in message


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(text=st.one_of(st.text(), st.binary()))
def test_any_file_is_a_case_or_one_message(text: str | bytes, tmp_path: Path) -> None:
    path = tmp_path / "any.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8", "surrogatepass"))
    with pytest.raises(CaseError, match=r"any\.toml"):
        load(path)  # no text of this kind can hold a driver


TEXT = case_texts.toml(VALID["round"])


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    start=st.integers(0, len(TEXT)),
    length=st.integers(0, 40),
    insert=st.one_of(
        st.just(""), st.text(max_size=10), st.sampled_from(['"', "0", "-", "e9", "[", "{}", "nan", "true"])
    ),
)
def test_a_spoilt_case_is_a_case_or_one_message(start: int, length: int, insert: str, tmp_path: Path) -> None:
    text = TEXT[:start] + insert + TEXT[start + length :]
    path = write(tmp_path, "")
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    assert_case_or_message(path)
