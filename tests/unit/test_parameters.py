"""What can be turned in a case, and how a turned value is written back into its file."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from airpath.case import load, parse
from airpath.case.edit import differences, edited, written
from airpath.case.parameters import parameters

BENCH = Path(__file__).parents[2] / "cases" / "rumble-bench.toml"
CASES = sorted(BENCH.parent.glob("*.toml"))


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_every_parameter_reads_back_what_it_puts(path):
    case = load(path)
    for name, parameter in parameters(case).items():
        moved = parameter.changed(parameter.value * 1.01)
        assert parameters(moved)[name].value == pytest.approx(parameter.value * 1.01, rel=1e-12)
        assert parameter.low <= parameter.value <= parameter.high
        assert parameter.text


def test_kinds_and_units():
    found = parameters(load(BENCH))
    assert (found["ports.nose.length"].kind, found["ports.nose.length"].unit) == ("dimension", "mm")
    assert found["ports.nose.from_at[0]"].kind == "place"
    assert (found["driver.fs"].kind, found["driver.fs"].unit) == ("driver", "Hz")
    assert found["driver.Qms"].unit == ""
    assert not {"driver.count", "driver.xmax", "driver.power"} & set(found)


ODD = """# head\r\n\ttitle = 'a'  # why\r\nwhen = 2026-11-25T10:00:00Z\r\ntones = [ "1 Hz", # one
  "2 Hz" ]\nfill = { a.b = 1, c = [[1, 2.50], ["x"]] }\n[chambers . "gro\u00dfe Kammer"] # there\nvolume="8 L"\n
[[many]]\nx = 0x1F\n[[many]]\nx = 1_000\ny = \"\"\"two\nlines\"\"\"\n"""


@pytest.mark.parametrize("text", [ODD, *(path.read_text(encoding="utf-8") for path in CASES)])
def test_the_same_text_edited_again_is_as_it_was(text):
    once = edited(text, {("title",): "another", ("drive", "voltage"): "1 V"})
    assert once != text and edited(text, {}) == text
    assert edited(text, {("title",): "another", ("drive", "voltage"): "1 V"}) == once


def test_a_chambers_side_takes_its_openings_along():
    case = load(BENCH)
    side = parameters(case)["chambers.main.size[0]"]
    longer = side.changed(side.value * 1.5)
    for name, port in case.ports.items():
        if port.from_ == "main":
            assert longer.ports[name].from_at[0] == pytest.approx(1.5 * port.from_at[0])
            assert longer.ports[name].from_at[1:] == port.from_at[1:]


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_a_written_value_keeps_comments_and_unit(path):
    text = path.read_text(encoding="utf-8")
    case = load(path)
    for parameter in parameters(case).values():
        value = parameter.value * (0.98 if parameter.kind == "place" else 1.02)
        new = edited(text, {parameter.path: written(text, parameter, value)})
        again = parse(new, path)
        assert parameters(again)[parameter.name].value == pytest.approx(value, rel=1e-5)
        assert [line for line in new.splitlines() if line.lstrip().startswith("#")] == [
            line for line in text.splitlines() if line.lstrip().startswith("#")
        ]
        assert len(new.splitlines()) - len(text.splitlines()) in (0, 1)  # one more for a default now written out


def test_a_changed_case_is_written_with_the_places_that_moved_along():
    text = BENCH.read_text(encoding="utf-8")
    case = parse(text, BENCH)
    side = parameters(case)["chambers.main.size[0]"]
    longer = side.changed(side.value * 1.25)
    changes = differences(text, case, longer)
    assert changes[side.path] == "150 mm"
    assert len(changes) > 1
    assert parse(edited(text, changes), BENCH) == longer


def test_a_key_can_be_taken_away_and_a_table_made():
    new = tomllib.loads(edited('a = 1\n[b]\nc = 2 # keep\nd = 3\n', {("b", "d"): None, ("e", "f"): "1 mm"}))
    assert new == {"a": 1, "b": {"c": 2}, "e": {"f": "1 mm"}}
