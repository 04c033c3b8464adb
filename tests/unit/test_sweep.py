"""Reading measured sweeps: every separator and decimal mark, every broken row by its line, any text at all."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from airpath.errors import SweepError
from airpath.measured.reading.sweep import MeasuredSweep, read_sweep
from airpath.report.figures.overlay import measured_columns, measured_rings
from airpath.report.style import blank

ROWS = ((20.5, 7.25, -12.5), (21.5, 8.0, 3.0), (1000.0, 11.75, 45.0))


def read(folder: Path, text: str | bytes, name: str = "sweep.csv") -> MeasuredSweep:
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_sweep(path)


def lines(separator: str, decimal: str = ".", columns: int = 3) -> str:
    return "\n".join(separator.join(f"{value}".replace(".", decimal) for value in row[:columns]) for row in ROWS)


def assert_rows(sweep: MeasuredSweep, columns: int = 3) -> None:
    assert sweep.frequency.tolist() == [row[0] for row in ROWS]
    assert sweep.magnitude.tolist() == [row[1] for row in ROWS]
    if columns == 3:
        assert sweep.phase_deg is not None and sweep.phase_deg.tolist() == [row[2] for row in ROWS]
    else:
        assert sweep.phase_deg is None and sweep.impedance is None


@pytest.mark.parametrize(
    ("separator", "decimal"),
    [(",", "."), (", ", "."), (" , ", "."), (";", "."), (";", ","), ("; ", ","), ("\t", "."), ("\t", ","), (" ", "."),
     ("   ", ","), (" ", ",")],
)  # fmt: skip
@pytest.mark.parametrize("columns", [2, 3])
def test_separators_and_decimal_marks(tmp_path: Path, separator: str, decimal: str, columns: int) -> None:
    assert_rows(read(tmp_path, lines(separator, decimal, columns)), columns)


@pytest.mark.parametrize(
    "head",
    ["Frequency,Magnitude,Phase\n", "# made up\n\n* more\n", "sep=,\nHz;ohm;deg\n", '"f / Hz","|Z| / Ω","φ / °"\n',
     "2026-11-25 10:04 bench two\nfreq imp phase\n", "Samples 20 to 1000\n",
     "frequency Hz,impedance ohm,phase deg\n", "Frequency [Hz],|Z| [ohm],arg Z [deg]\n"],
)  # fmt: skip
def test_headers_and_comments_are_skipped(tmp_path: Path, head: str) -> None:
    assert_rows(read(tmp_path, head + lines(",") + "\n# end\n\n"))


@pytest.mark.parametrize("coding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r"])
def test_codings_and_line_ends(tmp_path: Path, coding: str, ends: str) -> None:
    assert_rows(read(tmp_path, ("f, Z, phase in °\n" + lines(",")).replace("\n", ends).encode(coding)))


def test_quotes_trailing_separators_and_more_columns(tmp_path: Path) -> None:
    assert_rows(read(tmp_path, '"20.5","7.25","-12.5"\n"21.5","8.0","3.0"\n"1e3","11.75","45"\n'))
    assert_rows(read(tmp_path, lines(";").replace("\n", ";\n") + ";"))
    sweep = read(tmp_path, lines("\t").replace("\n", "\t90.5\n") + "\t91.0")
    assert_rows(sweep)
    assert any("third" in note for note in sweep.notes)


def test_units_of_the_heading(tmp_path: Path) -> None:
    sweep = read(tmp_path, "f [kHz]\tZ [kOhm]\tphase (rad)\n0.02\t0.008\t0.5\n1\t0.009\t-0.5\n")
    np.testing.assert_allclose(sweep.frequency, [20, 1000])
    np.testing.assert_allclose(sweep.magnitude, [8, 9])
    np.testing.assert_allclose(sweep.phase_deg, np.rad2deg([0.5, -0.5]))
    assert len(sweep.notes) == 3


def test_headings_are_parted_as_the_rows_are(tmp_path: Path) -> None:
    """Blanks between words of a heading, commas between columns."""
    sweep = read(tmp_path, "frequency in kHz,impedance in mOhm,phase in rad\n0.02,8000,0.5\n1,9000,-0.5\n")
    np.testing.assert_allclose(sweep.frequency, [20, 1000])
    np.testing.assert_allclose(sweep.magnitude, [8, 9])
    np.testing.assert_allclose(sweep.phase_deg, np.rad2deg([0.5, -0.5]))
    assert_rows(read(tmp_path, "Frequency Hz Impedance Ohm Phase deg\n" + lines(" ")))


def test_falling_rows_with_points_are_told_nothing_of_commas(tmp_path: Path) -> None:
    with pytest.raises(SweepError, match=r"out of order, expected them in rising frequency$"):
        read(tmp_path, "30.5,5.5\n20.5,6.5\n")


def test_a_row_at_zero_frequency_is_left_out_and_said(tmp_path: Path) -> None:
    sweep = read(tmp_path, "0,5.6,0\n" + lines(","))
    assert_rows(sweep)
    assert any("line 1" in note for note in sweep.notes)


def test_impedance_is_complex(tmp_path: Path) -> None:
    sweep = read(tmp_path, "10 2 90\n20 3 180\n")
    np.testing.assert_allclose(sweep.impedance, [2j, -3], atol=1e-12)


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("f,z\n20,5\n30,6\n25,7\n", 4, "out of order"),
        ("20,5\n30,6\n30,7\n", 3, "repeated"),
        ("20,5\n-30,6\n", 2, "frequency -30"),
        ("20,5\n30,-6\n", 2, "magnitude -6"),
        ("20,5\n30,0\n", 2, "magnitude 0"),
        ("20,5\n30,nan\n", 2, "not finite"),
        ("20,5,1\n30,6,inf\n", 2, "not finite"),
        ("20,5\n1e999,6\n", 2, "not finite"),
        ("20,5,1\n30,6\n", 2, "phase is missing"),
        ("20,5\n30,6,1\n", 2, "phase stands here"),
        ("20,5\n30,abc\n40,6\n", 2, "expected a frequency"),
        ("20,5\n30\n40,6\n", 2, "expected a frequency"),
        ("20.5;5\n30,5;6\n", 2, "point in one place"),
        ("20,5,7,2\n20,9,7,4\n", 2, "decimals need a point"),
        ("20,5\n30,1_0\n", 2, "expected a frequency"),
        ("20,5\n3e7,6\n", 2, "frequency 3e+07"),
        ("", 1, "at least 2 rows"),
        ("nothing here\nat all\n", 1, "at least 2 rows"),
        ("20,5\n", 1, "at least 2 rows"),
        ("20,5\n\0\x01\x02", 2, "not a text"),
        ("Hz,deg,ohm\n20,-5,6\n30,4,7\n", 1, 'column 2 is headed "deg": expected the magnitude in ohm'),
        ("# made up\nf in Hz,Re(Z) ohm,Im(Z) ohm\n20,5,6\n30,4,7\n", 2, 'column 2 is headed "Re(Z) ohm"'),
        ("f;dBohm\n20;15\n30;16\n", 1, 'column 2 is headed "dBohm"'),
        ("n;f / Hz;Z / ohm\n1;20;15\n2;30;16\n", 1, 'column 1 is headed "n": expected the frequency in Hz'),
        ("Hz ohm ohm\n20 15 3\n30 16 4\n", 1, 'column 3 is headed "ohm": expected the phase in degrees'),
    ],
)  # fmt: skip
def test_broken_rows_are_named_by_line(tmp_path: Path, text: str, line: int, words: str) -> None:
    with pytest.raises(SweepError) as raised:
        read(tmp_path, text)
    assert f"sweep.csv, line {line}:" in str(raised.value) and words in str(raised.value)
    assert "\n" not in str(raised.value) and raised.value.exit_status == 2


def test_more_than_one_broken_row(tmp_path: Path) -> None:
    with pytest.raises(SweepError, match=r"line 2: .*and 2 more, the next in line 3"):
        read(tmp_path, "20,5\n-1,5\n-2,5\n-3,5\n30,6\n")


def test_no_file(tmp_path: Path) -> None:
    for path in (tmp_path, tmp_path / "none.csv", Path("a\0b")):
        with pytest.raises(SweepError, match=r"is expected|cannot be read"):
            read_sweep(path)


@pytest.mark.parametrize(
    ("option", "rows"),
    [
        ("# Hz Z RI R 1", ["20 3 4", "1000 0 2"]),
        ("# kHz Z MA R 1", ["0.02 5 53.13010235415598", "1 2 90"]),
        ("# Hz Z DB R 1", ["20 13.979400086720377 53.13010235415598", "1000 6.020599913279624 90"]),
        ("# HZ z ri r 10 ! normalised", ["20 0.3 0.4", "1000 0 0.2"]),
        ("# Hz Y RI R 2", ["20 0.24 -0.32", "1000 0 -1"]),
        ("# Hz S RI R 5", ["20 0 0.5", "1000 -0.7241379310344828 0.6896551724137931"]),
        ("[Version] 2.0\n# Hz Z RI R 10\n[Number of Ports] 1\n[Network Data]", ["20 3 4", "1000 0 2", "[End]"]),
    ],
)  # fmt: skip
def test_touchstone(tmp_path: Path, option: str, rows: list[str]) -> None:
    text = "! made up\n" + option + "\n" + "\n".join(rows) + "\n"
    sweep = read(tmp_path, text, "sweep.s1p")
    np.testing.assert_allclose(sweep.impedance, [3 + 4j, 2j], rtol=1e-12, atol=1e-12)
    np.testing.assert_allclose(sweep.frequency, [20, 1000])
    assert read(tmp_path, text, "sweep.txt").frequency.tolist() == sweep.frequency.tolist()


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("# Hz Z RI R 1\n20 3 4\n30 3\n", 3, "three numbers"),
        ("# Hz Z RI R 1\n20 3 4\n10 3 4\n", 3, "out of order"),
        ("# Hz Z RI R 1\n20 3 nan\n", 2, "not finite"),
        ("# Hz S RI R 1\n20 1 0\n", 2, "no finite impedance"),
        ("# Hz S MM R 1\n20 1 0\n", 1, '"mm" is not understood'),
        ("# Hz Z DB R 1\n20 1e9 0\n", 2, "no finite impedance"),
        ("[Version] 2.0\n# Hz Z RI R 1\n[Number of Ports] 2\n20 1 0\n", 3, "one port"),
        ("# S RI R 50\n20 0 0.5\n", 2, "frequency 2e+10"),
    ],
)  # fmt: skip
def test_broken_touchstone(tmp_path: Path, text: str, line: int, words: str) -> None:
    with pytest.raises(SweepError) as raised:
        read(tmp_path, text + "40 1 1\n", "x.s1p")
    assert f"line {line}:" in str(raised.value) and words in str(raised.value)


FIELD = st.one_of(
    st.floats(0.1, 3e4).map(lambda x: f"{x:.6g}"), st.floats().map(str), st.integers().map(str),
    st.sampled_from(["", "Hz", "ohm", "nan", "-inf", "1,5", "1.000,5", "#", "!", '"', "1_0", "R", "Z", "RI", "²", "٣"]),
)  # fmt: skip
LINE = st.builds(lambda sep, fields: sep.join(fields), st.sampled_from([",", ";", "\t", " ", ", "]), st.lists(FIELD))
OPTION = st.lists(st.sampled_from(["#", "Hz", "Z", "S", "RI", "DB", "R", "50", "[Version] 2.0"])).map(" ".join)
NUMBERS = st.lists(st.lists(st.floats(1, 1e4), min_size=2, max_size=3), min_size=2, max_size=20).map(
    lambda rows: "\n".join(",".join(map(str, row)) for row in sorted(rows))
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("fuzz")


@settings(max_examples=400, deadline=None)
@example(text="#\ud7fc", name="fuzz.s1p")
@given(
    text=st.one_of(st.text(), st.binary(), st.lists(LINE).map("\n".join), NUMBERS,
                   st.tuples(OPTION, st.lists(LINE).map("\n".join)).map("\n".join)),
    name=st.sampled_from(["fuzz.csv", "fuzz.s1p"]),
)  # fmt: skip
def test_any_file_gives_a_sweep_or_one_message_with_a_line(folder: Path, text: Any, name: str) -> None:
    data = text if isinstance(text, bytes) else text.encode("utf-8", "surrogatepass")
    said = ""
    try:
        sweep = read(folder, data, name)
    except SweepError as error:
        said = str(error)
    if said:
        assert f"{name}, line " in said and said.isprintable()
        return
    assert len(sweep.frequency) == len(sweep.magnitude) >= 2
    assert np.isfinite(sweep.frequency).all() and (np.diff(sweep.frequency) > 0).all() and sweep.frequency[0] > 0
    assert np.isfinite(sweep.magnitude).all() and (sweep.magnitude > 0).all()
    assert sweep.phase_deg is None or np.isfinite(sweep.phase_deg).all()


def test_a_phase_of_300_degrees_is_shown_as_minus_60(tmp_path):
    """A phase from 0 to 360 degrees is the same impedance; pictures and charts show it from -180 to 180."""
    path = tmp_path / "turned.csv"
    path.write_text("20,9,300\n40,50,0\n80,9,-40\n", encoding="utf-8")
    sweep = read_sweep(path)
    assert sweep.wrapped_phase_deg.tolist() == [-60, 0, -40]
    assert measured_columns(sweep, 1.0)["phase"] == [-60, 0, -40]
    axes = blank(4, 3).add_subplot()
    measured_rings(axes, sweep, phase=True)
    assert axes.lines[0].get_ydata().tolist() == [-60, 0, -40]
    assert np.angle(sweep.impedance, deg=True) == pytest.approx(sweep.wrapped_phase_deg, abs=1e-12)
