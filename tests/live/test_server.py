"""The page's server answers to the page alone: this machine, the right token, the right host, its own origin."""

from __future__ import annotations

import asyncio
import json
import shutil
import subprocess
import sys
import threading
from contextlib import suppress
from pathlib import Path

import pytest
from tornado.httpclient import AsyncHTTPClient, HTTPRequest
from tornado.websocket import websocket_connect

import airpath
from airpath.errors import CaseError
from airpath.live.guard import Guard
from airpath.live.server import LARGEST_UPLOAD, Hub, serve
from airpath.live.session import Session
from airpath.live.views import state

CASES = Path(__file__).parents[2] / "cases"


@pytest.fixture
def booth(tmp_path):
    path = tmp_path / "inner" / "booth.toml"
    path.parent.mkdir()
    shutil.copy(CASES / "ticket-booth.toml", path)
    (tmp_path / "secret.txt").write_text("not for the page", encoding="utf-8")
    return path


def on_server(path, work):
    """Serve a case, do ``work(address, talk)`` and stop the server."""

    async def main():
        address = asyncio.get_running_loop().create_future()
        server = asyncio.ensure_future(serve(path, path.parent, address.set_result))
        await asyncio.wait({server, address}, return_when=asyncio.FIRST_COMPLETED)
        lines = []

        async def talk(where):
            request = HTTPRequest(f"{where.replace('http', 'ws', 1)}talk", headers=own_origin(where))
            lines.append(await websocket_connect(request))
            return lines[-1]

        try:
            return await work(address.result(), talk)
        finally:
            for line in lines:
                line.close()
                with suppress(TimeoutError):  # one that the server ended has nothing more to say
                    while await asyncio.wait_for(line.read_message(), 2) is not None:
                        pass
            server.cancel()
            await asyncio.gather(server, return_exceptions=True)

    return asyncio.run(main())


async def status(address, **options):
    request = HTTPRequest(address, follow_redirects=False, **options)
    answer = await AsyncHTTPClient().fetch(request, raise_error=False)
    return answer.code


def own_origin(address):
    return {"Origin": address.split("/", 3)[0] + "//" + address.split("/", 3)[2]}


async def refused(address, headers):
    """Ask for a line as a browser does, and return whether that was refused."""
    upgrade = {"Connection": "Upgrade", "Upgrade": "websocket", "Sec-WebSocket-Version": "13"}
    upgrade["Sec-WebSocket-Key"] = "dGhlIHNhbXBsZSBub25jZQ=="
    return await status(f"{address}talk", headers={**upgrade, **headers}) == 403


async def everything(line, what, patience=120.0):
    """Return all messages up to the next of a kind."""
    seen = []
    while not seen or seen[-1]["what"] != what:
        text = await asyncio.wait_for(line.read_message(), patience)
        assert text is not None, "the server hung up"
        seen.append(json.loads(text))
    return seen


async def heard(line, what, patience=120.0):
    """Return the next message of a kind."""
    return (await everything(line, what, patience))[-1]


async def ended(line):
    """Wait until the server has ended a line."""
    while await asyncio.wait_for(line.read_message(), 120) is not None:
        pass


def test_the_page_is_served_with_everything_it_needs_and_nothing_else(booth):
    async def work(address, talk):
        assert address.startswith("http://127.0.0.1:")
        for name in ("", "main.js", "page.css", "bokeh.min.js", "bokeh-api.min.js", "charts.js"):
            assert await status(address + name) == 200, name
        for name in ("booth.toml", "no-such.js", "a/b", "..%2Fserver.py", "%2e%2e/%2e%2e/secret.txt", "../server.py"):
            assert await status(address + name) in (403, 404), name
        answer = await AsyncHTTPClient().fetch(address)
        assert "default-src 'none'" in answer.headers["Content-Security-Policy"]
        assert answer.headers["Referrer-Policy"] == "no-referrer"

    on_server(booth, work)


@pytest.mark.parametrize("token", ["", "x", "x" * 32, "..", "%00"])
def test_a_wrong_token_is_refused(booth, token):
    async def work(address, talk):
        base = "/".join(address.split("/")[:3])
        assert await status(f"{base}/{token}/") in (403, 404)
        assert await status(base) in (403, 404)
        assert await refused(f"{base}/{token or 'x'}/", own_origin(address))

    on_server(booth, work)


@pytest.mark.parametrize("host", ["example.org", "127.0.0.1", "127.0.0.1:1", "localhost.example.org:80"])
def test_another_host_is_refused(booth, host):
    async def work(address, talk):
        assert await status(address, headers={"Host": host}) == 403
        assert await refused(address, {**own_origin(address), "Host": host})

    on_server(booth, work)


@pytest.mark.parametrize("origin", [None, "null", "http://example.org", "https://127.0.0.1", "http://127.0.0.1:1"])
def test_another_origin_may_not_talk(booth, origin):
    async def work(address, talk):
        assert await refused(address, {} if origin is None else {"Origin": origin})

    on_server(booth, work)


def test_tokens_differ_and_are_long():
    tokens = {Guard(port=1).token for _ in range(50)}
    assert len(tokens) == 50 and min(map(len, tokens)) >= 32


def test_a_turn_moves_the_curves_and_two_pages_hear_of_it(booth):
    async def work(address, talk):
        one, two = await talk(address), await talk(address)
        before = (await heard(one, "charts"))["content"]["sources"]["line"]["impedance"]
        await heard(two, "charts")
        one.write_message(json.dumps({"do": "turn", "name": "ports.vent.length", "value": 140.0, "serial": "a:1"}))
        for line in (one, two):
            news = await heard(line, "curves")
            while news["serial"] != "a:1":
                news = await heard(line, "curves")
            assert news["moving"] and news["fresh"]["sources"]["line"]["impedance"] != before
            assert news["fresh"]["sources"]["before"]["impedance"] == before
            assert (await heard(line, "state"))["differences"] == [
                {"place": "[ports.vent] length", "was": '"125 mm"', "now": '"140 mm"'}
            ]
        one.write_message(json.dumps({"do": "settle"}))
        assert (await heard(two, "features"))["features"]
        assert 'length = "125 mm"' in booth.read_text(encoding="utf-8")

    on_server(booth, work)


@pytest.mark.parametrize(
    "wish",
    [
        {"do": "turn", "name": "ports.vent.length", "value": -1, "serial": 1},
        {"do": "turn", "name": "ports.vent.length", "value": "long", "serial": 1},
        {"do": "turn", "name": "ports.vent.length", "value": True, "serial": 1},
        {"do": "turn", "name": "../secret", "value": 1, "serial": 1},
        {"do": "turn", "serial": 1},
        {"do": "shut", "port": "nobody", "shut": True},
        {"do": "fly"},
        {},
    ],
)
def test_what_makes_no_sense_is_refused_in_words_and_changes_nothing(booth, wish):
    async def work(address, talk):
        line = await talk(address)
        line.write_message(json.dumps(wish))
        said = await heard(line, "said")
        assert said["kind"] == "refused" and said["text"]

    text = booth.read_text(encoding="utf-8")
    on_server(booth, work)
    assert booth.read_text(encoding="utf-8") == text


def test_noise_on_the_line_does_no_harm(booth):
    async def work(address, talk):
        line = await talk(address)
        for noise in ("{", "[]", "1", '"x"', "\x00", '{"do": ["turn"]}', '{"do": "turn", "value": Infinity}'):
            line.write_message(noise)
        line.write_message(json.dumps({"do": "shut", "port": "vent", "shut": True}))
        while not (await heard(line, "state"))["unwritten"]:
            pass

    on_server(booth, work)


def test_an_oversized_message_ends_the_line_and_nothing_else(booth):
    async def work(address, talk):
        line, other = await talk(address), await talk(address)
        line.write_message("x" * 1_000_000)
        await ended(line)
        other.write_message(json.dumps({"do": "shut", "port": "vent", "shut": True}))
        while not (await heard(other, "state"))["unwritten"]:
            pass

    on_server(booth, work)


SWEEP = "Hz,ohm,deg\n20,9,30\n40,50,0\n80,9,-40\n200,7,0\n"


async def dropped(address, name, data, **headers):
    """Drop a file on the page and return the answer's status."""
    where = f"{address}drop?name={name}"
    return await status(where, method="POST", body=data, headers={**own_origin(address), **headers})


def test_a_dropped_sweep_is_laid_over_the_impedance_and_written_only_when_asked(booth):
    async def work(address, talk):
        line = await talk(address)
        await heard(line, "charts")
        assert await dropped(address, "my%20sweep.csv", SWEEP) == 200
        content = (await heard(line, "charts"))["content"]
        assert content["sources"]["measured"]["impedance"] == [9, 50, 9, 7]
        assert sorted(file.name for file in booth.parent.iterdir()) == ["booth.toml"]
        line.write_message(json.dumps({"do": "save"}))
        while not (await heard(line, "state"))["text"].count("my sweep.csv"):
            pass
        await heard(line, "said")
        assert (booth.parent / "my sweep.csv").read_text(encoding="utf-8") == SWEEP
        assert airpath.load(booth).measured == "my sweep.csv"

    on_server(booth, work)


@pytest.mark.parametrize(
    ("name", "data", "why"),
    [
        ("notes.exe", "x", "is expected"),
        (".csv", SWEEP, "is expected"),
        ("..%2F..%2Fsweep.csv", "no numbers", "sweep.csv"),
        ("sweep.csv", "20,9\n10,9\n", "line 2"),
        ("sweep.csv", "", "sweep.csv"),
        ("box.dxf", "rubbish", None),
    ],
)
def test_a_file_that_is_of_no_use_is_refused_in_words(booth, name, data, why):
    async def work(address, talk):
        line = await talk(address)
        assert await dropped(address, name, data) == 200
        if why is None:
            await heard(line, "outline")
            line.write_message(json.dumps({"do": "outline", "name": "box.dxf", "part": "box", "unit": "mm"}))
        said = await heard(line, "said")
        assert said["kind"] == "refused" and (why or "box.dxf") in said["text"] and "/tmp" not in said["text"]
        assert sorted(file.name for file in booth.parent.iterdir()) == ["booth.toml"]

    on_server(booth, work)


def test_a_dropped_file_gets_a_name_of_its_own_and_stays_in_the_folder(booth):
    (booth.parent / "sweep.csv").write_text("mine", encoding="utf-8")

    async def work(address, talk):
        line = await talk(address)
        assert await dropped(address, "..%2F..%2Fsweep.csv", SWEEP) == 200
        await heard(line, "charts")
        line.write_message(json.dumps({"do": "save"}))
        await heard(line, "said")

    on_server(booth, work)
    assert sorted(file.name for file in booth.parent.iterdir()) == ["booth.toml", "sweep 2.csv", "sweep.csv"]
    assert (booth.parent / "sweep.csv").read_text(encoding="utf-8") == "mine"
    assert sorted(file.name for file in booth.parents[1].iterdir()) == ["inner", "secret.txt"]


def test_an_oversized_or_strange_upload_is_refused(booth):
    async def work(address, talk):
        assert await dropped(address, "sweep.csv", "x" * (LARGEST_UPLOAD + 1)) == 413
        assert await dropped(address, "sweep.csv", SWEEP, Origin="http://example.org") == 403
        assert await dropped(address, "sweep.csv", SWEEP, Host="example.org") == 403
        assert await dropped("/".join(address.split("/")[:3]) + "/wrong/", "sweep.csv", SWEEP) == 403

    on_server(booth, work)


def test_a_report_is_made_beside_the_case_and_shown(booth):
    async def work(address, talk):
        line = await talk(address)
        assert await status(f"{address}report.html") == 404
        line.write_message(json.dumps({"do": "report"}))
        said = await heard(line, "said", 60)
        assert said["kind"] == "done" and said["link"] == "report.html"
        answer = await AsyncHTTPClient().fetch(f"{address}report.html")
        assert b"Ticket booth" in answer.body and "sandbox" in answer.headers["Content-Security-Policy"]

    on_server(booth, work)
    assert (booth.parent / "airpath-out" / "booth" / "report.html").is_file()


def test_a_page_that_goes_with_its_hand_on_a_knob_lets_go_of_it(booth):
    async def work(address, talk):
        one, two = await talk(address), await talk(address)
        one.write_message(json.dumps({"do": "turn", "name": "ports.vent.length", "value": 140.0, "serial": "a:1"}))
        assert (await heard(two, "curves"))["moving"]
        one.close()
        assert not (await heard(two, "curves"))["moving"]
        assert (await heard(two, "features", 60))["features"]

    on_server(booth, work)


def test_a_server_that_ends_with_a_hand_on_a_knob_says_nothing(booth):
    text = booth.read_text(encoding="utf-8")  # so fine a sweep that a turn is still worked out when the end comes
    booth.write_text(text.replace("[sweep]", "[sweep]\npoints_per_octave = 1000"), encoding="utf-8")
    command = [sys.executable, "-m", "airpath", "open", str(booth), "--no-browser", "--quiet"]
    server = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    address = server.stdout.readline().strip()

    async def turn():
        where = HTTPRequest(f"{address.replace('http', 'ws', 1)}talk", headers=own_origin(address))
        line = await websocket_connect(where)
        for i in range(40):  # of two knobs in turn: none takes the place of another
            name = ("ports.vent.length", "ports.vent.diameter")[i % 2]
            line.write_message(json.dumps({"do": "turn", "name": name, "value": 60.0 + i, "serial": f"a:{i}"}))
        assert (await heard(line, "curves"))["moving"]
        server.terminate()
        await ended(line)
        line.close()

    asyncio.run(turn())
    _, said = server.communicate(timeout=120)
    assert said == ""


def test_a_stopped_server_takes_up_no_more_wishes(tmp_path, monkeypatch):
    asked, begun, go = [], threading.Event(), threading.Event()

    def ask(wish):
        asked.append(wish["do"])
        begun.set()
        go.wait(60)

    async def main():
        hub = Hub(None, tmp_path)
        monkeypatch.setattr(hub.desk, "ask", ask)
        for wish in ("undo", "redo"):
            hub.wish({"do": wish})
        await asyncio.to_thread(begun.wait, 60)
        hub.close()
        go.set()
        return await asyncio.gather(*hub._tasks, return_exceptions=True)

    assert asyncio.run(main()) == [None]
    assert asked == ["undo"]


def test_taking_back_where_nothing_is_to_be_taken_back_changes_nothing(booth):
    async def work(address, talk):
        line = await talk(address)
        await heard(line, "features")
        for wish in ("undo", "redo", "settle"):
            line.write_message(json.dumps({"do": wish}))
        line.write_message(json.dumps({"do": "nothing known"}))
        seen = await everything(line, "said")
        assert not {"curves", "charts"} & {message["what"] for message in seen}
        assert [message["text"] for message in seen if message["what"] == "busy"] in ([], [""])

    on_server(booth, work)


def test_the_door_of_a_room_is_switched_as_one_step_and_comments_stay(booth):
    before = booth.read_text(encoding="utf-8")

    async def work(address, talk):
        line = await talk(address)
        room = (await heard(line, "results"))["room"]
        while room is None:
            room = (await heard(line, "results", 60))["room"]
        doors = airpath.predict(airpath.load(booth)).doors
        assert [row["label"] for row in room["states"]] == [row.label for row in doors.states]
        assert room["states"][1]["cells"][0][0] == f"{doors.states[1].spl_db[0]:.1f} dB"
        for wrong in (0, 3, -1, None, "1"):
            line.write_message(json.dumps({"do": "door", "state": wrong}))
            assert "door" in (await heard(line, "said"))["text"]
        line.write_message(json.dumps({"do": "door", "state": 2}))
        now = await heard(line, "state")
        assert [change["place"] for change in now["differences"]] == ["[room] opening"] and now["undo"]
        line.write_message(json.dumps({"do": "save"}))
        assert (await heard(line, "said"))["kind"] == "done"

    on_server(booth, work)
    assert booth.read_text(encoding="utf-8") == before.replace(
        '["1.2 m^2", "0.12 m^2", "0 m^2"]', '["0 m^2", "1.2 m^2", "0.12 m^2"]'
    )


def test_what_can_be_shut_is_said_truly(tmp_path):
    told = {}
    for name in ("ticket-booth", "fog-signal"):
        shutil.copy(CASES / f"{name}.toml", tmp_path)
        told[name] = state(Session.open(tmp_path / f"{name}.toml"))["shutting"]
    assert "port" in told["ticket-booth"] and "mouth" not in told["ticket-booth"]
    assert "end of a port" not in told["fog-signal"] and 'the mouth of "horn";' in told["fog-signal"]


def test_a_report_is_said_to_be_made_with_a_hand_on_a_knob_but_pictures_of_another_state_are_not_shown(booth):
    async def work(address, talk):
        line = await talk(address)
        turn = {"do": "turn", "name": "ports.vent.length", "serial": "a:1"}
        for wish in ({"do": "pictures"}, {"do": "report"}, {**turn, "value": 140.0}):
            line.write_message(json.dumps(wish))
        seen = await everything(line, "said")
        assert seen[-1]["link"] == "report.html"
        assert "pictures" not in {message["what"] for message in seen}

    on_server(booth, work)


def test_covers_can_be_set_all_at_once(booth):
    async def work(address, talk):
        line = await talk(address)
        found = await heard(line, "covering", 60)
        assert [state["covered"] for state in found["states"]] == [[], ["vent"]]
        assert [state["now"] for state in found["states"]] == [True, False]
        line.write_message(json.dumps({"do": "cover", "ports": ["vent"]}))
        found = await heard(line, "covering", 60)
        assert [state["now"] for state in found["states"]] == [False, True]
        line.write_message(json.dumps({"do": "cover", "ports": ["nobody"]}))
        assert (await heard(line, "said"))["kind"] == "refused"

    on_server(booth, work)


def test_a_case_that_cannot_be_read_is_said_at_the_start(tmp_path):
    with pytest.raises(CaseError, match=r"none\.toml"):
        asyncio.run(serve(tmp_path / "none.toml", tmp_path, print))


def test_a_mistake_of_airpath_itself_is_said_and_the_desk_goes_on(booth, monkeypatch, capsys):
    from airpath.live.session import Session

    def mistaken(*_):
        raise ZeroDivisionError("on purpose")

    async def work(address, talk):
        line = await talk(address)
        with monkeypatch.context() as broken:
            broken.setattr(Session, "look", mistaken)
            said = await heard(line, "said")
            assert said["kind"] == "refused" and "ZeroDivisionError: on purpose" in said["text"]
        with monkeypatch.context() as broken:
            broken.setattr(Session, "turn", mistaken)
            turn = {"do": "turn", "name": "ports.vent.length", "value": 140.0, "serial": "a:1"}
            line.write_message(json.dumps(turn))
            while (said := await heard(line, "said"))["serial"] != "a:1":
                pass
        line.write_message(json.dumps({"do": "shut", "port": "vent", "shut": True}))
        while not (await heard(line, "state"))["unwritten"]:
            pass

    on_server(booth, work)
    assert "ZeroDivisionError" in capsys.readouterr().err


def test_an_outline_that_was_not_dropped_is_not_read(booth):
    secret = booth.parents[1] / "secret.dxf"
    secret.write_text("not for the page", encoding="utf-8")

    async def work(address, talk):
        line = await talk(address)
        for name in (str(secret), "../secret.dxf", "secret.dxf"):
            line.write_message(json.dumps({"do": "outline", "name": name, "part": "box", "unit": "mm"}))
            said = await heard(line, "said")
            assert said["kind"] == "refused" and "was dropped" in said["text"]

    on_server(booth, work)


def test_each_page_that_turns_a_knob_gets_an_answer(booth):
    async def work(address, talk):
        one, two = await talk(address), await talk(address)
        await heard(one, "charts")
        await heard(two, "charts")
        for page, line in (("a", one), ("b", two)):
            for i in range(20):
                turn = {"do": "turn", "name": "ports.vent.length", "value": 120.0 + i, "serial": f"{page}:{i}"}
                line.write_message(json.dumps(turn))
        waiting = {"a:19", "b:19"}
        while waiting:
            waiting.discard((await heard(one, "curves"))["serial"])

    on_server(booth, work)


def test_the_loudest_clean_level_is_that_of_predict(booth):
    async def work(address, talk):
        line = await talk(address)
        while (found := await heard(line, "results", 60))["brief"]:
            pass
        return found

    found = on_server(booth, work)
    rows = airpath.predict(airpath.load(booth)).clean
    assert all(f"{row.spl_db:.1f} dB at {row.text}" in said for row, said in zip(rows, found["clean"], strict=True))
    assert "harm hearing" in found["clean_note"]


def test_the_report_of_a_measured_case_shows_the_sweep(booth):
    (booth.parent / "sweep.csv").write_text(SWEEP, encoding="utf-8")
    booth.write_text(f'measured = "sweep.csv"\n{booth.read_text(encoding="utf-8")}', encoding="utf-8")

    async def work(address, talk):
        line = await talk(address)
        line.write_message(json.dumps({"do": "report"}))
        assert (await heard(line, "said", 60))["kind"] == "done"

    on_server(booth, work)
    page = (booth.parent / "airpath-out" / "booth" / "report.html").read_text(encoding="utf-8")
    assert "Round marks: measured, sweep.csv" in page


def test_a_very_long_sweep_is_drawn_with_fewer_dots(booth):
    rows = "".join(f"{20 + i / 100:.2f},{9 + i % 7}\n" for i in range(20_000))

    async def work(address, talk):
        line = await talk(address)
        await heard(line, "charts")
        assert await dropped(address, "long.csv", rows) == 200
        measured = (await heard(line, "charts"))["content"]["sources"]["measured"]
        assert len(measured["frequency"]) == len(measured["impedance"]) == 4000
        assert measured["frequency"][:2] == [20, 20.05]

    on_server(booth, work)
