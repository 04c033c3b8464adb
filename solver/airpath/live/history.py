"""What was changed on the page, step by step, to be taken back and brought again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from airpath.case.parameters import Step

Path = tuple[Step, ...]
Changes = Mapping[Path, Any]


@dataclass
class History:
    """Steps done, steps taken back, and the one under the hand (``open_step``), as changes for `case.edit.edited`.

    ``written``: how many of the steps done stand in the file.
    """

    done: list[Changes] = field(default_factory=list)
    undone: list[Changes] = field(default_factory=list)
    open_step: Changes | None = None
    written: int = 0

    @property
    def can_undo(self) -> bool:
        """Whether there is a step to take back."""
        return bool(self.done or self.open_step)

    @property
    def can_redo(self) -> bool:
        """Whether there is a step to bring again; one under the hand takes the place of all that were taken back."""
        return bool(self.undone and not self.open_step)

    def settled(self) -> dict[Path, Any]:
        """Return all steps done, without the open one, as one set of changes."""
        return _merged(self.done)

    def all(self) -> dict[Path, Any]:
        """Return all steps done with the open one, as one set of changes."""
        return _merged([*self.done, self.open_step or {}])

    def close(self) -> None:
        """Make the open step one that can be taken back."""
        if self.open_step:
            self.done.append(self.open_step)
            self.undone.clear()
        self.open_step = None

    def undo(self) -> None:
        """Take the last step back, if there is one."""
        self.close()
        if self.done:
            self.undone.append(self.done.pop())

    def redo(self) -> None:
        """Bring back the step last taken back, if there is one."""
        self.close()
        if self.undone:
            self.done.append(self.undone.pop())

    def mark_written(self) -> None:
        """Remember that all steps done stand in the file."""
        self.close()
        self.written = len(self.done)

    def forget_written(self) -> None:
        """Keep only what the file doesn't hold yet: the file is a new start."""
        self.close()
        if self.written > len(self.done):  # some were taken back since
            self.undone.clear()
        self.done = self.done[self.written :]
        self.written = 0

    def set_aside(self) -> None:
        """Take every step back, to be brought again one by one."""
        self.close()
        self.undone += reversed(self.done)
        self.done = []


def _merged(steps: list[Changes]) -> dict[Path, Any]:
    return {path: value for step in steps for path, value in step.items()}
