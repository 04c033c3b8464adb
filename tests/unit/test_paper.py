"""The report on paper: it has its pages, says what the page says, and nothing on it is cut off or overprinted."""

import re
from itertools import combinations
from pathlib import Path

import pytest

from airpath.case import Case, load
from airpath.cli.main import main
from airpath.findings.predict import predict
from airpath.report.cells import assumptions
from airpath.report.pages import write
from airpath.report.pages.paper import MARGIN, TALL, WIDE, Paper
from airpath.report.pages.printed import report_paper, report_pdf
from airpath.report.style import styled

CASES = Path(__file__).parents[2] / "cases"
PORT = {"from": "main", "to": "outside", "length": "120 mm", "diameter": "38 mm"}
LONG = "a-name-without-end-that-no-column-holds"


@pytest.fixture(scope="module")
def prediction():
    return predict(Case.model_validate({
        "title": "Twenty $tones$ <b>", "scale": 4.0, "tones": [f"{f} Hz" for f in range(60, 660, 30)],
        "notes": "word " * 300,
        "driver": {"fs": "62 Hz", "Qms": 4.1, "Qes": 0.52, "Vas": "1.9 L", "Sd": "55 cm^2", "Re": "3.4 ohm",
                   "xmax": "4 mm", "rear": "main"},
        "chambers": {"main": {"volume": "1.6 L"}, "side": {"volume": "0.9 L"}},
        "ports": {LONG: PORT, "bridge": {**PORT, "to": "side"}, "tail": {**PORT, "from": "side"}},
        "drive": {"voltage": "15 V"}, "sweep": {"start": "20 Hz", "stop": "1 kHz", "points_per_octave": 12},
    }))  # fmt: skip


@pytest.fixture(scope="module")
def paper(prediction):
    paper = report_paper(prediction)
    paper.pdf()  # numbers the pages
    return paper


def texts(page):
    """Return every text that stands on the page itself with its place [in] from the lower left corner."""
    with styled():
        page.canvas.draw()
        renderer = page.canvas.get_renderer()
        return [(t.get_text(), t.get_window_extent(renderer).transformed(page.dpi_scale_trans.inverted()))
                for t in page.texts if t.get_text()]  # fmt: skip


def test_pdf_has_its_pages_and_the_same_bytes_twice(prediction, paper):
    data = report_pdf(prediction)
    assert data.startswith(b"%PDF-")
    assert data.count(b"/Type /Page ") == len(paper.pages) >= 4
    assert data == report_pdf(prediction)
    assert b"CreationDate" not in data


def test_it_says_what_the_page_says(prediction, paper):
    words = " ".join(text for page in paper.pages for text, _ in texts(page))
    flat = re.sub(r"\s+", "", words)
    sentences = [*prediction.warnings, prediction.parting, *(row.verdict for row in prediction.best_tones())]
    sentences += [sentence for _, listed in assumptions(prediction) for sentence in listed]
    sentences += [row.verdict for row in prediction.ports.values()]
    assert prediction.warnings
    for sentence in [prediction.warnings[0], prediction.parting, prediction.case.title]:
        assert re.sub(r"\s+", "", sentence) in flat
    for sentence in sentences:  # cells of a table are read line by line, in pieces
        assert all(word in flat for word in sentence.split())
    assert prediction.clean[0].reached.split()[0] in words.split("Maximum clean level")[1]
    assert words.index("Read this before switching on") < words.index("Tones")
    assert words.count("A calculation is no permit") == len(paper.pages)
    assert f"1 of {len(paper.pages)}" in words


def test_nothing_is_cut_off(paper):
    for page in paper.pages:
        for text, box in texts(page):
            assert box.x0 >= MARGIN - 0.02 and box.x1 <= WIDE - MARGIN + 0.05, text
            assert box.y0 >= 0.3 and box.y1 <= TALL - MARGIN + 0.02, text
        for piece in page.subfigs:
            edge = piece.bbox.transformed(page.dpi_scale_trans.inverted())
            assert edge.y0 >= MARGIN and edge.y1 <= TALL - MARGIN + 0.01


def test_nothing_is_overprinted(paper):
    for page in paper.pages:
        found = texts(page)
        for (first, a), (second, b) in combinations(found, 2):
            across = min(a.x1, b.x1) - max(a.x0, b.x0)
            along = min(a.y1, b.y1) - max(a.y0, b.y0)
            assert across < 0.03 or along < 0.03, (first, second)
        for piece in page.subfigs:
            edge = piece.bbox.transformed(page.dpi_scale_trans.inverted())
            assert all(box.y0 >= edge.y1 - 0.03 or box.y1 <= edge.y0 + 0.03 for _, box in found)


def test_every_figure_is_on_it(paper):
    assert sum(len(page.subfigs) for page in paper.pages) == 5


def test_the_room_s_door_is_on_it_state_by_state():
    prediction = predict(load(CASES / "ticket-booth.toml"), ("lumped",))
    words = " ".join(text for page in report_paper(prediction).pages for text, _ in texts(page))
    for state in prediction.doors.states:
        assert state.label in words
        assert all(f"{level:.1f} dB" in words for level in state.spl_db)


def test_a_table_repeats_its_head_on_the_next_page():
    paper = Paper(title="t", foot="f")
    paper.heading("A table")
    paper.table(("first", "second"), (1, 1), [("x", "y\nz")] * 60)
    assert len(paper.pages) > 1
    assert all("second" in [t.get_text() for t in page.texts] for page in paper.pages)


def test_words_that_fit_no_line_are_cut_and_none_is_lost():
    paper = Paper(title="t", foot="f")
    lines = paper.wrapped("ab " + "W" * 200 + " cd", 9.0, 2.0)
    assert "".join(lines).replace(" ", "") == "ab" + "W" * 200 + "cd"
    assert all(paper._wide(line, 9.0, "normal") <= 2.0 for line in lines)


def test_the_command_writes_it_only_when_asked(tmp_path, prediction):
    case = tmp_path / "box.toml"
    case.write_text(
        '[driver]\nfs = "62 Hz"\nQms = 4.1\nQes = 0.52\nVas = "1.9 L"\nSd = "55 cm^2"\nRe = "3.4 ohm"\nrear = "box"\n'
        '[chambers.box]\nvolume = "2 L"\n[sweep]\nstart = "20 Hz"\nstop = "500 Hz"\npoints_per_octave = 12\n',
        encoding="utf-8",
    )
    out = tmp_path / "out"
    assert main(["predict", str(case), "--pdf", "--quiet", "--out", str(out)]) == 0
    assert (out / "report.pdf").read_bytes().startswith(b"%PDF-")
    assert main(["predict", str(case), "--quiet", "--out", str(out)]) == 0
    assert not (out / "report.pdf").exists()  # it would show the case as it was
    assert write.write_report(prediction, tmp_path / "own", pdf=True)[-1].name == "report.pdf"
