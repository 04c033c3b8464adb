"""Table of the driver: its small-signal or mechanical values and the spaces that its two sides face."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from airpath.case.quantity import (
    Area,
    Choice,
    Compliance,
    Count,
    ForceFactor,
    Frequency,
    Inductance,
    Length,
    Mass,
    MechanicalQ,
    MechanicalResistance,
    Name,
    Offset,
    Power,
    QualityFactor,
    Resistance,
    Volume,
)
from airpath.case.table import Place, Table, refuse

MeasuredIn = Annotated[Literal["free air", "baffle"], Choice(("free air", "baffle"))]
Wiring = Annotated[Literal["parallel", "series"], Choice(("parallel", "series"))]


class Driver(Table):
    """A driver, or several identical ones that share both spaces."""

    Sd: Area = Field(description='Effective cone area, as in "55 cm^2".')
    Re: Resistance = Field(description='Voice-coil resistance at direct current, as in "3.4 ohm".')
    fs: Frequency | None = Field(None, description='Resonance frequency, as in "62 Hz".')
    Qms: MechanicalQ | None = Field(None, description="Mechanical Q at fs, a plain number.")
    Qes: QualityFactor | None = Field(None, description="Electrical Q at fs, a plain number.")
    Qts: QualityFactor | None = Field(
        None, description="Total Q at fs, a plain number: stands in for Qms or Qes (1/Qts = 1/Qms + 1/Qes)."
    )
    Vas: Volume | None = Field(None, description='Air volume as compliant as the suspension, as in "1.9 L".')
    Mms: Mass | None = Field(None, description='Moving mass with its air load, as in "6 g".')
    Cms: Compliance | None = Field(None, description='Compliance of the suspension, as in "0.6 mm/N".')
    Rms: MechanicalResistance | None = Field(
        None, description='Mechanical resistance of the suspension, as in "0.8 kg/s".'
    )
    Bl: ForceFactor | None = Field(None, description='Force factor, as in "4.2 T*m".')
    Le: Inductance = Field(
        0.0,
        description='Voice-coil inductance, as in "0.25 mH"; none if left out.',
        json_schema_extra={"default": "0 mH"},
    )
    Le2: Inductance | None = Field(
        None,
        description="Second inductance of a lossy coil; it and Re2 in parallel follow Le in series.",
    )
    Re2: Resistance | None = Field(None, description="Resistance in parallel with Le2.")
    xmax: Length | None = Field(None, description='Rated excursion, one way, peak, as in "4 mm".')
    power: Power | None = Field(None, description='Thermal power rating, as in "40 W".')
    measured_in: MeasuredIn = Field(
        "free air", description="Where fs and Mms were measured, so which air they include."
    )
    front: Name = Field("outside", description='Space at the cone\'s front: a chamber, a horn or "outside".')
    rear: Name = Field(description='Space at the cone\'s rear: a chamber, a horn or "outside".')
    front_at: Place | None = Field(
        None, description="Cone centre in the front chamber, which needs a size, or outside: [x, y, z]."
    )
    rear_at: Place | None = Field(
        None, description="Cone centre in the rear chamber, which needs a size, or outside: [x, y, z]."
    )
    front_along: Offset | None = Field(
        None,
        description="Where on the horn it names the front sits, measured from the throat.",
    )
    rear_along: Offset | None = Field(
        None,
        description="Where on the horn it names the rear sits, measured from the throat.",
    )
    count: Count = Field(1, description="Number of identical drivers that share both spaces.")
    wiring: Wiring = Field("parallel", description="How several drivers are connected.")

    @model_validator(mode="after")
    def _lossy_coil(self) -> Driver:
        if (self.Le2 is None) != (self.Re2 is None):
            key, example = ("Le2", "0.2 mH") if self.Le2 is None else ("Re2", "6 ohm")
            refuse(key, f'Le2 and Re2 come as a pair, as in "{example}"')
        return self

    @model_validator(mode="after")
    def _total_q(self) -> Driver:
        """Qts stands in for one missing Q, which is positive only if the other lies above it."""
        known = {name: q for name, q in (("Qms", self.Qms), ("Qes", self.Qes)) if q is not None}
        if self.Qts is not None and len(known) == 1 and self.Qts >= min(known.values()):
            refuse("Qts", f"expected a value below {next(iter(known))}, since 1/Qts = 1/Qms + 1/Qes")
        return self

    @property
    def given(self) -> dict[str, float]:
        """The small-signal and mechanical values that the file gives, SI, by name."""
        names = ("fs", "Qms", "Qes", "Qts", "Vas", "Mms", "Cms", "Rms", "Bl")
        return {name: value for name in names if (value := getattr(self, name)) is not None}
