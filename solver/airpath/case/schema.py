"""The case file as a whole: `Case` and its small tables."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, PrivateAttr, model_validator

from airpath.case.drivers import Driver
from airpath.case.openings import Horn, Port
from airpath.case.quantity import (
    Choice,
    Distance,
    FilePath,
    Fraction,
    Frequency,
    Given,
    Notes,
    Number,
    Power,
    Pressure,
    ResistanceOrZero,
    Temperature,
    Title,
    Voltage,
)
from airpath.case.spaces import Chamber, Room
from airpath.case.table import Place, Table, refuse

__all__ = [
    "AirTable", "Case", "Chamber", "Drive", "Driver", "Horn", "Listener", "Port", "Room", "Sweep",
]  # fmt: skip

_MOST_POINTS = 20_000

Space = Annotated[Literal["full", "half", "quarter", "eighth"], Choice(("full", "half", "quarter", "eighth"))]


class AirTable(Table):
    """State of the air."""

    temperature: Temperature = Field(
        293.15, description='Temperature, as in "20 degC".', json_schema_extra={"default": "20 degC"}
    )
    pressure: Pressure = Field(
        101325.0, description='Pressure, as in "101.325 kPa".', json_schema_extra={"default": "101.325 kPa"}
    )
    relative_humidity: Fraction = Field(0.5, description="Relative humidity, 0 to 1.")


class Drive(Table):
    """What feeds the terminals."""

    voltage: Voltage = Field(2.83, description="RMS voltage at the terminals.", json_schema_extra={"default": "2.83 V"})
    power: Power | None = Field(None, description="Instead of the voltage: power into Re.")
    source_resistance: ResistanceOrZero = Field(
        0.0,
        description="Resistance of amplifier and cable in series.",
        json_schema_extra={"default": "0 ohm"},
    )

    @model_validator(mode="after")
    def _one_level(self) -> Drive:
        if self.power is not None and "voltage" in self.model_fields_set:
            refuse("power", "expected either voltage or power, not both")
        return self


class Sweep(Table):
    """The frequencies to calculate."""

    start: Frequency = Field(20.0, description="Lowest frequency.", json_schema_extra={"default": "20 Hz"})
    stop: Frequency = Field(2000.0, description="Highest frequency.", json_schema_extra={"default": "2 kHz"})
    points_per_octave: Annotated[int, Number(4, 1000, whole=True)] = Field(96, description="Frequencies per octave.")

    @model_validator(mode="after")
    def _upwards(self) -> Sweep:
        if not self.start < self.stop:
            refuse("stop" if "stop" in self.model_fields_set else "start",
                   f"expected start ({self.start:g} Hz) below stop ({self.stop:g} Hz)")  # fmt: skip
        points = self.points_per_octave * math.log2(self.stop / self.start)
        if points > _MOST_POINTS:
            refuse("points_per_octave", f"expected at most {_MOST_POINTS} frequencies in all, these are {points:.0f}")
        return self


class Listener(Table):
    """Where the level is heard."""

    distance: Distance = Field(1.0, description="Distance from the box.", json_schema_extra={"default": "1 m"})
    space: Space = Field("half", description="The part of full space that the box radiates into.")
    at: Place | None = Field(
        None, description="Instead of a distance: where the listener is, [x, y, z] of the room or the open air."
    )

    @model_validator(mode="after")
    def _one_place(self) -> Listener:
        if self.at is not None and "distance" in self.model_fields_set:
            refuse("at", "expected either distance or at, not both")
        return self


class Case(Table):
    """A box, its driver and what to calculate; every attribute is SI, under the name of its TOML key."""

    title: Title = Field("", description="What the box is, in a few words.")
    notes: Notes = Field("", description="Anything worth keeping with the case.")
    scale: Annotated[float, Number(0.01, 100.0)] = Field(
        1.0, description="The case is a 1:scale model: full-size frequency = frequency / scale."
    )
    tones: Annotated[tuple[Frequency, ...], Field(max_length=100)] = Field(
        (), description='The frequencies that matter, as in ["112 Hz", "160 Hz"].'
    )
    measured: FilePath | None = Field(
        None, description="Measured impedance sweep of the built box, relative to this file."
    )
    air: AirTable = Field(AirTable(), description="State of the air.", json_schema_extra={"default": {}})
    driver: Driver = Field(description="The driver.")
    chambers: dict[Given, Chamber] = Field({}, description="The chambers, by name.")
    ports: dict[Given, Port] = Field({}, description="The ports, by name.")
    horns: dict[Given, Horn] = Field({}, description="The horns, by name.")
    drive: Drive = Field(Drive(), description="What feeds the terminals.", json_schema_extra={"default": {}})
    sweep: Sweep = Field(Sweep(), description="Frequencies to calculate.", json_schema_extra={"default": {}})
    listener: Listener = Field(Listener(), description="Where the level is heard.", json_schema_extra={"default": {}})
    room: Room | None = Field(None, description="A closed space around the box, with the listener in it.")

    _source: Path | None = PrivateAttr(None)

    @model_validator(mode="after")
    def _tones_in_sweep(self) -> Case:
        for tone in self.tones:
            if not self.sweep.start <= tone <= self.sweep.stop:
                refuse("tones", f"expected tones inside the sweep, {self.sweep.start:g} Hz to {self.sweep.stop:g} Hz")
        return self

    @property
    def source(self) -> Path | None:
        """The file that the case came from; None for a case made in Python."""
        return self._source

    @property
    def name(self) -> str:
        """The file's name without its ending; "case" for a case made in Python."""
        return self._source.stem if self._source is not None else "case"

    def resolve(self, path: str) -> Path:
        """Return a path of the case file as seen from here: relative ones start at the case file's folder."""
        return (self._source.parent if self._source is not None else Path()) / path
