"""The server of the page: loopback only, one case, any number of pages that all show the same."""

from __future__ import annotations

import asyncio
import json
from collections import deque
from collections.abc import Callable, Coroutine
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path
from typing import Any

from tornado import web, websocket
from tornado.httpserver import HTTPServer
from tornado.netutil import bind_sockets

from airpath.live.board import Message
from airpath.live.desk import Desk
from airpath.live.guard import ADDRESS, HEADERS, Guard
from airpath.report.templating import script_files

LARGEST_UPLOAD = 4_000_000  # bytes
_LARGEST_MESSAGE = 20_000  # bytes
_MOST_WAITING = 64
_SHEET = (
    "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data:; sandbox allow-scripts"
)
_STATIC = Path(__file__).parent / "static"
_TOO_LARGE = f"the file is larger than {LARGEST_UPLOAD // 1_000_000} MB"
_LOOK_EVERY = 0.4  # s


class Hub:
    """Passes wishes to the desk, one after the other in its own thread, and its messages to every page.

    Of several turns of one knob by one page that wait only the last is done.
    """

    def __init__(self, path: Path | None, folder: Path) -> None:
        """Open the case. Raises CaseError, FidelityError or AccuracyError."""
        self.pages: set[Talk] = set()
        self._loop = asyncio.get_running_loop()
        self._thread = ThreadPoolExecutor(max_workers=1)
        self._wishes: deque[Message] = deque()
        self._working = self._closed = False
        self._hand: Talk | None = None  # the page that turned a knob last
        self._tasks: set[asyncio.Future[None]] = set()
        self.desk = Desk(path, folder, self._say, self._hear)

    async def run(self, work: Callable[..., Any], *values: Any) -> Any:
        """Do something with the desk, in its thread."""
        return await self._loop.run_in_executor(self._thread, work, *values)

    def wish(self, wish: Message, page: Talk | None = None) -> None:
        """Take a wish of a page."""
        if wish.get("do") == "turn":
            self._hand = page
        if self._wishes and _turned(wish) is not None and _turned(wish) == _turned(self._wishes[-1]):
            self._wishes.pop()
        if len(self._wishes) < _MOST_WAITING:
            self._wishes.append(wish)
        if not self._working:
            self._working = True
            self.start(self._work())

    def leave(self, page: Talk) -> None:
        """Forget a page; a knob that it had its hand on is let go of."""
        self.pages.discard(page)
        if self._hand is page and not self._closed:
            self._hand = None
            self.wish({"do": "settle"})

    def start(self, work: Coroutine[Any, Any, None]) -> None:
        """Let something run beside everything else."""
        task = self._loop.create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def watch(self) -> None:
        """Look at the file now and then, for ever."""
        while True:
            await asyncio.sleep(_LOOK_EVERY)
            await self.run(self.desk.look)

    def greet(self, page: Talk) -> None:
        """Tell a new page everything, and from then on whatever is new; in the desk's thread."""
        texts = [_text(message) for message in self.desk.welcome()]
        self._loop.call_soon_threadsafe(self._enter, page, texts)

    def _enter(self, page: Talk, texts: list[str]) -> None:
        for text in texts:
            page.send(text)
        self.pages.add(page)

    def close(self) -> None:
        """End what runs."""
        self._closed = True
        self.desk.close()
        self._thread.shutdown(wait=False, cancel_futures=True)

    async def _work(self) -> None:
        try:
            while self._wishes and not self._closed:
                await self.run(self.desk.ask, self._wishes.popleft())
        finally:
            self._working = False

    def _say(self, message: Message) -> None:
        with suppress(RuntimeError):  # the loop is gone
            self._loop.call_soon_threadsafe(self._broadcast, _text(message))

    def _broadcast(self, text: str) -> None:
        for page in list(self.pages):
            page.send(text)

    def _hear(self, news: Any) -> None:
        with suppress(RuntimeError):  # the loop is gone
            self._loop.call_soon_threadsafe(lambda: self.start(self._news(news)))

    async def _news(self, news: Any) -> None:
        if not self._closed:  # else the desk's thread is gone
            await self.run(self.desk.news, news)


def _turned(wish: Message) -> tuple[Any, str] | None:
    """Return which knob a wish turns, and the page that wishes it: each page waits for an answer of its own."""
    return (wish.get("name"), str(wish.get("serial")).split(":")[0]) if wish.get("do") == "turn" else None


def _text(message: Message) -> str:
    return json.dumps(message, allow_nan=False, separators=(",", ":"))


class Guarded(web.RequestHandler):
    """A handler that answers only to the page itself."""

    guard: Guard
    hub: Hub

    def initialize(self, guard: Guard, hub: Hub) -> None:
        """Take what every handler needs."""
        self.guard, self.hub = guard, hub

    def set_default_headers(self) -> None:
        """Let nothing be kept, framed or sent elsewhere."""
        for name, value in HEADERS.items():
            self.set_header(name, value)

    def prepare(self) -> None:
        """Refuse another host, a wrong token, and changes asked for by another page."""
        refuse_strangers(self, self.guard)

    def write_error(self, status_code: int, **_: Any) -> None:
        """Answer in one plain line."""
        self.set_header("Content-Type", "text/plain; charset=utf-8")
        self.finish(f"{status_code}: {self._reason}\n")


def refuse_strangers(handler: web.RequestHandler, guard: Guard) -> None:
    """Raise HTTPError unless host and token are right, and the origin of whatever changes something."""
    request = handler.request
    if not guard.knows_host(request.headers.get("Host")):
        raise web.HTTPError(403, reason="another host was asked for")
    if not guard.knows_token(request.path.split("/")[1] if "/" in request.path else ""):
        raise web.HTTPError(403, reason="the address does not hold the right token")
    changes = request.method not in ("GET", "HEAD") or request.headers.get("Upgrade", "").lower() == "websocket"
    if changes and not guard.knows_origin(request.headers.get("Origin")):
        raise web.HTTPError(403, reason="asked for by another page")


class Page(Guarded):
    """The page itself, its scripts and style; nothing else is ever read for it."""

    def get(self, name: str) -> None:
        """Send one of the files that belong to the page."""
        file = page_files().get(name)
        if name == "report.html" and self.hub.desk.report is not None:
            file = self.hub.desk.report
            self.set_header("Content-Security-Policy", _SHEET)
        if file is None:
            raise web.HTTPError(404, reason="there is no such file")
        kinds = {".html": "text/html", ".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml"}
        self.set_header("Content-Type", f"{kinds[file.suffix]}; charset=utf-8")
        if name.endswith(".min.js"):
            self.set_header("Cache-Control", "private, max-age=86400")
        self.finish(file.read_bytes())


def page_files() -> dict[str, Path]:
    """Return every file of the page by its name in the address."""
    own = {file.name: file for file in _STATIC.iterdir() if file.is_file()}
    shared = {file.name: file for file in script_files()}
    return {**own, **shared, "": own["index.html"]}


@web.stream_request_body
class Drop(Guarded):
    """Takes a file that is dropped on the page."""

    def prepare(self) -> None:
        """Refuse strangers, and files that are too large before they are sent."""
        super().prepare()
        self._data = bytearray()
        if int(self.request.headers.get("Content-Length", "0")) > LARGEST_UPLOAD:
            raise web.HTTPError(413, reason=_TOO_LARGE)

    def data_received(self, chunk: bytes) -> None:
        """Collect the file, but no more than is allowed."""
        if len(self._data) + len(chunk) > LARGEST_UPLOAD:
            raise web.HTTPError(413, reason=_TOO_LARGE)
        self._data += chunk

    async def post(self) -> None:
        """Pass the file on."""
        await self.hub.run(self.hub.desk.drop, self.get_query_argument("name", ""), bytes(self._data))
        self.finish("")


class Talk(Guarded, websocket.WebSocketHandler):
    """One page's line to the desk."""

    def check_origin(self, origin: str) -> bool:
        """Let only the page itself talk."""
        return self.guard.knows_origin(origin)

    async def open(self, *_: str) -> None:
        """Tell a new page everything."""
        self.set_nodelay(True)
        await self.hub.run(self.hub.greet, self)

    def on_message(self, message: str | bytes) -> None:
        """Take a wish: a JSON object with the key "do"."""
        try:
            wish = json.loads(message)
        except ValueError:
            wish = None
        if isinstance(wish, dict):
            self.hub.wish(wish, self)

    def on_close(self) -> None:
        """Forget the page."""
        self.hub.leave(self)

    def send(self, text: str) -> None:
        """Send one message, unless the page has gone."""
        self.hub.start(self._send(text))

    async def _send(self, text: str) -> None:
        with suppress(websocket.WebSocketClosedError):
            await self.write_message(text)


async def serve(path: Path | None, folder: Path, ready: Callable[[str], None], port: int = 0) -> None:
    """Serve a case's page until cancelled; ``ready`` is called with its address. ``port`` 0: any free one.

    Raises CaseError, FidelityError or AccuracyError for a case that can't be shown.
    """
    hub = Hub(path, folder)
    server = None
    try:
        sockets = bind_sockets(port, ADDRESS)
        guard = Guard(port=sockets[0].getsockname()[1])
        server = HTTPServer(_application(guard, hub), max_body_size=4 * LARGEST_UPLOAD)
        server.add_sockets(sockets)
        ready(guard.address)
        await hub.watch()
    finally:
        hub.close()  # first: pages that go now let go of nothing
        if server is not None:
            server.stop()
            await server.close_all_connections()


def _application(guard: Guard, hub: Hub) -> web.Application:
    own = {"guard": guard, "hub": hub}
    ways = ((r"/[^/]*/talk", Talk), (r"/[^/]*/drop", Drop), (r"/[^/]*/([^/]*)", Page), (r".*", Nothing))
    routes = [(way, handler, own) for way, handler in ways]
    return web.Application(routes, websocket_max_message_size=_LARGEST_MESSAGE, log_function=lambda _: None)


class Nothing(Guarded):
    """Every other address."""

    def get(self) -> None:
        """Say that there is nothing."""
        raise web.HTTPError(404, reason="there is no such page")
