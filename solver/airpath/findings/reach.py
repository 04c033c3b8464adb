"""How long a port is to its air: its body and the air that moves with it at both ends."""

from __future__ import annotations

from dataclasses import dataclass

from airpath.case.schema import Case, Port
from airpath.elements.mouth import Mouth
from airpath.elements.plug import Plug
from airpath.network import joints, passages
from airpath.network.graph import OUTSIDE


@dataclass(frozen=True, kw_only=True)
class Reach:
    """Lengths [m] of a port's body and of its two ends, all for its narrowest section; ``area`` of all ducts [m^2]."""

    body: float
    start: float
    end: float
    area: float

    @property
    def total(self) -> float:
        """The effective length [m]."""
        return self.body + self.start + self.end


def reach(case: Case, port: Port) -> Reach:
    """Return the lengths of a port of a case: the plug of its narrowest section that has the same inertance."""
    section = passages.port_section(port)
    area = section.area * port.count
    body = 0.0
    for stage in passages.body(port, lumped=True):
        assert isinstance(stage, Plug)
        body += stage.length * section.area / stage.section.area
    start_section = passages.end_section(port, "from")
    share = joints.share_at(case.chambers[port.from_], port.from_at, start_section, port.count)
    start = passages.inner_end_length(port, "from", share) * section.area / start_section.area
    end_section = passages.end_section(port, "to")
    if port.covered:
        end = 0.0
    elif port.to == OUTSIDE:
        mouth = Mouth(section=end_section, flanged=port.to_end != "free", along_wall=port.along_wall)
        end = mouth.rest_length
    else:
        share = joints.share_at(case.chambers[port.to], port.to_at, end_section, port.count)
        end = passages.inner_end_length(port, "to", share)
    return Reach(body=body, start=start, end=end * section.area / end_section.area, area=area)
