"""Random boxes as case files: chambers, ports between them and to the outside, horns, leaks, covers, loops."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from hypothesis import strategies as st

from airpath.case.load import parse
from airpath.case.schema import Case

SIZES = ((0.24, 0.30, 0.41), (0.3, 0.3, 0.3), (0.2, 0.9, 0.25))  # of chambers that have positions [m]


def _mm(values: Any) -> str:
    return "[" + ", ".join(f'"{1e3 * v:.6g} mm"' for v in values) + "]"


@st.composite
def box_files(draw: st.DrawFn, *, lossy: bool = True, vented: bool = False, placed: bool = True) -> str:
    """Draw the text of a case file; ``lossy`` allows stuffing, absorption and leaks, ``placed`` positions
    in chambers; ``vented``: something opens to the outside and nothing is covered.
    """
    share = st.floats(min_value=0.0, max_value=1.0)
    number = draw(st.integers(1, 4))
    names = [f"space{i}" for i in range(number)]
    lines, sizes = [], {}
    for name in names:
        lines.append(f"[chambers.{name}]")
        sizes[name] = draw(st.one_of(st.none(), st.sampled_from(SIZES))) if placed else None
        litres = draw(st.floats(3.0, 60.0))
        lines.append(f'volume = "{litres:.3f} L"' if sizes[name] is None else f"size = {_mm(sizes[name])}")
        if lossy and draw(st.booleans()):
            lines.append(f"loss_q = {draw(st.floats(5.0, 300.0)):.2f}")
        if lossy and draw(st.integers(0, 3)) == 0:
            lines.append('fill = { flow_resistivity = "5000 Pa*s/m^2", fraction = 0.5 }')
        if lossy and draw(st.integers(0, 3)) == 0:
            lines.append(f'leak = {{ diameter = "{draw(st.floats(0.5, 5.0)):.2f} mm" }}')

    def place(key: str, space: str) -> list[str]:
        size = sizes.get(space)
        return [] if size is None else [f"{key} = {_mm((0.0, draw(share) * size[1], draw(share) * size[2]))}"]

    two_sided = number > 1 and draw(st.booleans())
    front = names[1] if two_sided else "outside"
    links = [(names[draw(st.integers(0, i - 1))], names[i]) for i in range(1, number)]
    more = draw(st.integers(0, 3))
    for _ in range(more):
        a, b = draw(st.sampled_from(names)), draw(st.sampled_from([*names, "outside"]))
        links += [(a, b)] if a != b else []
    outlet = vented or two_sided or draw(st.booleans())
    links += [(draw(st.sampled_from(names)), "outside")] if outlet else []
    opens = {i for i, (_, b) in enumerate(links) if b == "outside"}
    for i, (a, b) in enumerate(links):
        if b == "outside" and draw(st.integers(0, 3)) == 0:
            profile = draw(st.sampled_from(["conical", "exponential", "hyperbolic"]))
            lines += [f"[horns.way{i}]", f'from = "{a}"', f'to = "{b}"', f'profile = "{profile}"']
            lines += ['throat = "30 cm^2"', f'mouth = "{draw(st.floats(60.0, 900.0)):.1f} cm^2"']
            lines.append(f'length = "{draw(st.floats(0.2, 1.5)):.3f} m"')
            lines += ["T = 0.6"] if profile == "hyperbolic" else []
            lines += place("from_at", a)
            continue
        lines += [f"[ports.way{i}]", f'from = "{a}"', f'to = "{b}"']
        lines.append(f'length = "{draw(st.floats(10.0, 400.0)):.2f} mm"')
        if draw(st.booleans()):
            lines.append(f'diameter = "{draw(st.floats(10.0, 90.0)):.2f} mm"')
        else:
            lines.append(f'width = "{draw(st.floats(50.0, 180.0)):.2f} mm"')
            lines.append(f'height = "{draw(st.floats(4.0, 60.0)):.2f} mm"')
        if draw(st.booleans()):
            lines.append(f"count = {draw(st.integers(1, 3))}")
        if draw(st.booleans()):
            lines.append(f'to_end = "{draw(st.sampled_from(["free", "flanged"]))}"')
        if not vented and i not in opens and i >= number - 1 and draw(st.integers(0, 3)) == 0:
            lines.append("covered = true")
        lines += place("from_at", a) + (place("to_at", b) if b != "outside" else [])
    driver = [
        "[driver]", 'fs = "38 Hz"', "Qms = 4.0", "Qes = 0.4", 'Vas = "36.5 L"', 'Sd = "220 cm^2"', 'Re = "5.6 ohm"',
        f'front = "{front}"', f'rear = "{names[0]}"', *place("rear_at", names[0]),
        *(place("front_at", front) if front != "outside" else []),
    ]  # fmt: skip
    return "\n".join([*driver, *lines])


def as_case(text: str) -> Case:
    return parse(text, Path("random.toml"))
