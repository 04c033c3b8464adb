"""The errors that airpath raises on purpose; the command line turns each into one message and an exit status."""


class AirpathError(Exception):
    """Base of every error raised on purpose; its text is written for the person at the keyboard."""

    exit_status = 2


class CaseError(AirpathError, ValueError):
    """The case file is wrong: the text names file, table, key, value and what is expected."""


class GeometryError(AirpathError, ValueError):
    """An outline or a mesh is wrong: the text names the place by its coordinates."""


class SweepError(AirpathError, ValueError):
    """A measured sweep can't be read: the text names the line."""


class FidelityError(AirpathError, ValueError):
    """The asked-for fidelity can't be had for this case: the text says what is missing."""


class AccuracyError(AirpathError, ArithmeticError):
    """A calculation can't be trusted; the text holds the measured number and the limit it broke."""

    exit_status = 3
