"""What every page shows: the last of each kind of message is kept for a page that comes later."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from airpath.live import views
from airpath.live.plots import Plots

Message = dict[str, Any]
Say = Callable[[Message], None]
_KEPT = ("results", "features", "covering", "busy", "pictures")
_OF_ONE_STATE = ("features", "covering", "pictures")  # no longer true when anything changes


class Board:
    """The messages to the pages; ``moving``: a hand is on a knob, and the line model alone follows."""

    def __init__(self, say: Say) -> None:
        """Send messages by ``say``."""
        self._say = say
        self._kept: dict[str, Message] = {}
        self.plots = Plots()
        self.moving = False

    def welcome(self) -> list[Message]:
        """Return what a new page has to know of the results."""
        whole = {**self.plots.whole(), "moving": self.moving, "studied": "features" in self._kept}
        return [whole, *self._kept.values()]

    def tell(self, message: Message) -> None:
        """Tell every page."""
        if message["what"] in _KEPT:
            self._kept[message["what"]] = message
        self._say(message)

    def done(self, text: str, **more: Any) -> None:
        """Say that something asked for is done."""
        self._say({"what": "said", "kind": "done", "text": text, **more})

    def refused(self, text: str, serial: Any = None) -> None:
        """Say why something asked for is not done."""
        self._say({"what": "said", "kind": "refused", "text": text, "serial": serial})

    def busy(self, text: str) -> None:
        """Say what is being worked on; nothing for an empty text."""
        self.tell({"what": "busy", "text": text})

    def outdate(self) -> None:
        """Take back what is known of the case as it was."""
        self.plots.flags = []
        for kind in _OF_ONE_STATE:
            self._kept.pop(kind, None)

    def curves(self, *, studied: bool = False, serial: Any = None) -> None:
        """Show the curves and tables of the prediction that is in the plots."""
        now = self.plots.now
        assert now is not None
        more = {"moving": self.moving, "studied": studied, "serial": serial}
        self._say({**self.plots.news(), **more, "points": len(now.responses["line"].frequency)})
        self.tell({**views.results(now), "moving": self.moving})
