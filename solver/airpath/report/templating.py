"""Pages from templates: every command's page extends the same base."""

from __future__ import annotations

import base64
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import airpath
from airpath.report.style import plain, tidy


def render(template: str, **values: Any) -> str:
    """Return a page of ``templates``: one HTML file that needs nothing else; ``title`` is its heading."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("airpath.report"), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True,
    )  # fmt: skip
    environment.filters.update(plain=plain, tidy=tidy)
    return environment.get_template(template).render(version=airpath.__version__, **values)


def embedded(svg: bytes) -> str:
    """Return an SVG figure as the address of an image that stands in the page itself."""
    return "data:image/svg+xml;base64," + base64.b64encode(svg).decode()


def script_files() -> list[Path]:
    """Return BokehJS and ``charts.js`` as files, in the order in which a page needs them.

    Only files of the installed package are looked for: importing it would cost more than solving a box.
    """
    spec = find_spec("bokeh")
    assert spec is not None and spec.origin is not None  # a dependency
    library = Path(spec.origin).parent / "server" / "static" / "js"
    return [library / "bokeh.min.js", library / "bokeh-api.min.js", Path(__file__).parent / "templates" / "charts.js"]


def scripts() -> str:
    """Return the texts of `script_files` as script elements."""
    return "".join(f"<script>\n{file.read_text(encoding='utf-8')}\n</script>\n" for file in script_files())
