"""Results as the contents of files: JSON, CSV, pictures."""

from __future__ import annotations

import csv
import json
from collections.abc import Mapping
from io import StringIO
from typing import Any

import numpy as np
from numpy.typing import NDArray

from airpath.report.style import png


def json_file(result: Mapping[str, Any]) -> bytes:
    """Return a result as JSON on one line."""
    return (json.dumps(result, ensure_ascii=False, allow_nan=False) + "\n").encode()


def csv_text(columns: Mapping[str, NDArray[np.float64]], digits: int) -> str:
    """Return columns (n,) as CSV with their names in one header line; numbers have so many significant digits."""
    out = StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(columns)
    form = f"%.{digits}g".__mod__
    table.writerows(map(form, row) for row in np.column_stack(list(columns.values())).tolist())
    return out.getvalue()


def picture_files(drawn: Mapping[str, Any], vectors: Mapping[str, bytes]) -> dict[str, bytes]:
    """Return figures by the names of their files: each as PNG, and as the SVG that ``vectors`` holds of it."""
    pixels = {f"{name}.png": png(figure) for name, figure in drawn.items()}
    return pixels | {f"{name}.svg": vector for name, vector in vectors.items()}
