"""The README shows what the program does: its output, its example, its Python version."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import airpath
from airpath.cli.main import main

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_shown_output_is_the_demos():
    shown = re.search(r"<!-- output: airpath demo -->\n```\n(.*?)```", README, re.DOTALL).group(1)
    summary = (ROOT / "reports" / "rumble-bench" / "summary.txt").read_text(encoding="utf-8")
    assert shown == summary


def test_example_box_runs_as_written(tmp_path, capsys):
    example = re.search(r"```toml\n(.*?)```", README, re.DOTALL).group(1)
    (tmp_path / "box.toml").write_text(example, encoding="utf-8")
    assert main(["predict", str(tmp_path / "box.toml"), "--out", str(tmp_path / "out")]) == 0
    assert "My first box" in capsys.readouterr().out


def test_versions_agree():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert f"Python {project['requires-python'].removeprefix('>=')} or newer" in README
    changelog = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
    assert f"## [{airpath.__version__}]" in changelog
