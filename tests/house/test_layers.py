"""The layers: a module imports only from its own layer and the ones before it, and none grows beyond a page or two."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import airpath

ROOT = Path(airpath.__file__).parent
LAYERS = (
    ("errors", "units", "air"), ("acoustics",), ("case",), ("elements",), ("field",), ("network",), ("findings",),
    ("measured",), ("report",), ("live",), ("cli",),
)  # fmt: skip
RANK = {part: rank for rank, parts in enumerate(LAYERS) for part in parts}
FREE = {"__init__", "__main__"}  # the package's front door names everything, and loads it when asked
MODULES = sorted(path for path in ROOT.rglob("*.py") if path.relative_to(ROOT).parts[0].removesuffix(".py") not in FREE)
LONGEST = 350  # lines
HEAVY = {"matplotlib", "skfem", "netgen", "ezdxf", "meshio", "ngsolve", "jinja2", "pandas"}


def part_of(path: Path) -> str:
    return path.relative_to(ROOT).parts[0].removesuffix(".py")


def imported(path: Path) -> set[str]:
    """Return the parts of airpath that a module imports, wherever in it the import stands."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names: list[str] = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: write imports from the top of the package"
            names = [node.module or ""]
            if node.module == "airpath":
                names = [f"airpath.{alias.name}" for alias in node.names]
        found |= {name.split(".")[1] for name in names if name.startswith("airpath.")}
    return found


def ids(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


@pytest.mark.parametrize("path", MODULES, ids=ids)
def test_no_module_imports_a_later_layer(path: Path) -> None:
    own = part_of(path)
    assert own in RANK, f"{own} is in no layer"
    later = {part for part in imported(path) if part in RANK and RANK[part] > RANK[own]}
    assert not later, f"{ids(path)} imports {sorted(later)}, which come after {own}"


@pytest.mark.parametrize("path", MODULES, ids=ids)
def test_no_module_is_long(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= LONGEST


@pytest.mark.parametrize("path", MODULES, ids=ids)
def test_heavy_libraries_load_only_when_needed(path: Path) -> None:
    """Outside the field solver and the pictures, which are themselves loaded late, a heavy import is in a function."""
    if part_of(path) in ("field", "report"):
        return
    tree = ast.parse(path.read_text(encoding="utf-8"))
    top = [name for node in tree.body if isinstance(node, ast.Import) for name in (a.name for a in node.names)]
    top += [node.module or "" for node in tree.body if isinstance(node, ast.ImportFrom)]
    assert not {name.split(".")[0] for name in top} & HEAVY


@pytest.mark.parametrize("path", MODULES, ids=ids)
def test_every_module_says_what_it_is(path: Path) -> None:
    assert ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))


def test_the_check_can_fail(tmp_path: Path) -> None:
    wrong = tmp_path / "wrong.py"
    wrong.write_text("def f():\n    from airpath.cli import main\n    import airpath.report.pages.page\n")
    assert imported(wrong) == {"cli", "report"}
