"""Tables of what joins the spaces: ports and horns."""

from __future__ import annotations

import math
from typing import Annotated, Literal

from pydantic import Field, model_validator

from airpath.case.quantity import Area, Choice, Count, Length, Name, Number, YesNo
from airpath.case.spaces import Drawing, DrawingDepth, DrawingUnit, Fill, check_outline
from airpath.case.table import Place, Position, Stations, Table, check_stations, exactly_one, refuse

End = Annotated[Literal["flanged", "free", "flared"], Choice(("flanged", "free", "flared"))]
Profile = Annotated[
    Literal["conical", "exponential", "hyperbolic", "stations"],
    Choice(("conical", "exponential", "hyperbolic", "stations")),
]
ProfileT = Annotated[float, Number(0.0, 100.0)]


class Port(Table):
    """A round duct or a slot, or several alike, from a chamber to another chamber or to the outside."""

    from_: Name = Field(alias="from", description="The chamber that the port starts in.")
    to: Name = Field(description='The chamber that the port leads to, or "outside".')
    length: Length = Field(description='Physical length, as in "120 mm".')
    diameter: Length | None = Field(None, description="Inner diameter of a round port.")
    width: Length | None = Field(None, description="Inner width of a slot; give height too.")
    height: Length | None = Field(None, description="Inner height of a slot; give width too.")
    stations: Stations | None = Field(
        None,
        description="Tapered port: rows of [distance, area] from 0 to the length; no diameter or width.",
    )
    count: Count = Field(1, description="Number of identical ports side by side.")
    from_at: Position | None = Field(None, description="Centre of the opening in the from-chamber, [x, y, z].")
    to_at: Position | None = Field(None, description="Centre of the opening in the to-chamber, [x, y, z].")
    at: Place | None = Field(
        None, description="Centre of the outer end of a port to the outside, [x, y, z] of the room or the open air."
    )
    from_end: End = Field("flanged", description='Shape of the "from" end.')
    to_end: End = Field("flanged", description='Shape of the "to" end.')
    flare_radius: Length | None = Field(None, description="Rounding radius of the flared ends.")
    along_wall: YesNo = Field(False, description="The slot lies on a chamber wall, which mirrors it.")
    covered: YesNo = Field(False, description='A rigid cap closes the "to" end.')

    @model_validator(mode="after")
    def _consistent(self) -> Port:
        exactly_one(self, "diameter", "width" if self.height is None else "height", "stations")
        if (self.width is None) != (self.height is None):
            refuse("height" if self.height is None else "width", "a slot needs both width and height")
        flared = "flared" in (self.from_end, self.to_end)
        if flared and self.flare_radius is None:
            refuse("flare_radius", 'a flared end needs its rounding radius, as in "15 mm"')
        if self.flare_radius is not None and not flared:
            refuse("flare_radius", 'goes only with from_end or to_end = "flared"')
        if self.along_wall and self.width is None:
            refuse("along_wall", "only a slot (width and height) can lie along a wall")
        if self.stations is not None:
            check_stations(self.stations)
            if not math.isclose(self.stations[-1][0], self.length, rel_tol=1e-6):
                refuse("stations", "expected a last distance that equals the port's length")
        return self

    @property
    def area(self) -> float:
        """Cross-section of one port [m^2]; of a tapered one, its narrowest."""
        if self.stations is not None:
            return min(area for _, area in self.stations)
        if self.diameter is not None:
            return math.pi / 4.0 * self.diameter**2
        assert self.width is not None  # or the table was refused
        assert self.height is not None
        return self.width * self.height


class Horn(Table):
    """A duct whose area changes along its way, from a throat to a mouth."""

    from_: Name | None = Field(
        None, alias="from", description="The chamber at the throat; left out when the driver feeds the horn."
    )
    to: Name = Field("outside", description='Where the mouth opens: "outside" or a chamber.')
    profile: Profile | None = Field(None, description="How the area grows; not needed with an outline.")
    T: ProfileT | None = Field(None, description="Shape of a hyperbolic profile: 0 catenoid, 1 exponential.")
    throat: Area | None = Field(None, description='Area at the throat, as in "60 cm^2".')
    mouth: Area | None = Field(None, description='Area at the mouth, as in "900 cm^2".')
    length: Length | None = Field(None, description='Length along the axis, as in "1.4 m".')
    stations: Stations | None = Field(None, description='Rows of [distance, area] for profile = "stations".')
    outline: Drawing = None
    outline_depth: DrawingDepth = None
    outline_unit: DrawingUnit = None
    fill: Fill | None = Field(None, description="Stuffing along the horn.")
    from_at: Position | None = Field(None, description="Centre of the throat in the from-chamber, [x, y, z].")
    at: Place | None = Field(
        None, description="Centre of a mouth that opens outside, [x, y, z] of the room or the open air."
    )

    @model_validator(mode="after")
    def _consistent(self) -> Horn:
        check_outline(self.outline, outline_depth=self.outline_depth, outline_unit=self.outline_unit)
        if self.profile is None and self.outline is None:
            refuse("profile", 'expected one of "conical", "exponential", "hyperbolic", "stations" (or an outline)')
        if self.profile == "stations" and self.stations is None:
            refuse("stations", 'profile = "stations" needs rows of [distance, area]')
        if self.profile != "stations" and self.stations is not None:
            refuse("stations", 'goes only with profile = "stations"')
        if self.profile == "hyperbolic" and self.T is None:
            refuse("T", 'profile = "hyperbolic" needs its T, a plain number from 0 to 100')
        if self.profile != "hyperbolic" and self.T is not None:
            refuse("T", 'goes only with profile = "hyperbolic"')
        for key in ("throat", "mouth", "length"):
            given = getattr(self, key) is not None
            if given and (self.stations is not None or self.profile is None):
                refuse(key, "goes neither with stations nor without a profile")
            if not given and self.profile not in (None, "stations"):
                refuse(key, f'profile = "{self.profile}" needs throat, mouth and length')
        if self.profile == "hyperbolic" and (self.mouth or 0.0) <= (self.throat or 0.0):
            refuse("mouth", "a hyperbolic horn opens out: a mouth larger than the throat")
        if self.stations is not None:
            check_stations(self.stations)
        return self

    @property
    def known_length(self) -> float | None:
        """Length along the axis [m]; None when it has to be taken from an outline."""
        return self.stations[-1][0] if self.stations is not None else self.length
