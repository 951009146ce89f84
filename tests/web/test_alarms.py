"""Alarms and reminders: what is said, when, and by which way."""

from __future__ import annotations

import json
import socketserver
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from types import SimpleNamespace

import numpy as np
import pytest

from aerobe import usecases
from aerobe.errors import UnusableRecord
from aerobe.records import Brew
from aerobe.web._alarm_boxes import boxes_of
from aerobe.web._alarms import Alarm, AlarmSettings, Dispatch, alarms_for, is_quiet
from tests.web.conftest import START, Shed

LOW = Alarm(brew="b", brew_name="Barrel", kind="oxygen low", says="Oxygen is 1.0 mg/L.", at=START, urgent=True)
AHEAD = replace(LOW, kind="oxygen ahead", urgent=False)
NIGHT = AlarmSettings(quiet_from="22:00", quiet_to="06:00", webhook="http://127.0.0.1:9/")


def brew() -> SimpleNamespace:
    return SimpleNamespace(key="b", name="Barrel", aim=SimpleNamespace(oxygen_floor_mg_per_l=2.0))


def call(crosses: datetime | None, probability: float) -> SimpleNamespace:
    return SimpleNamespace(
        crosses_at=crosses, crossing_probability=probability, oxygen_says="May fall below the floor.", stand_in=""
    )


def oxygen(value: float, minutes: float = 1.0) -> SimpleNamespace:
    return SimpleNamespace(mg_per_l=value, minutes_ago=minutes)


@pytest.mark.parametrize(
    ("now_mg", "crosses_in_h", "probability", "kinds"),
    [
        (7.0, None, 0.0, []),
        (1.5, None, 0.0, ["oxygen low"]),
        (7.0, 3.0, 0.6, ["oxygen ahead"]),
        (7.0, 30.0, 0.9, []),
        (7.0, 3.0, 0.06, []),
        (1.5, 0.1, 1.0, ["oxygen low"]),
    ],
)
def test_what_is_an_alarm(now_mg: float, crosses_in_h: float | None, probability: float, kinds: list[str]) -> None:
    crosses = START + timedelta(hours=crosses_in_h) if crosses_in_h is not None else None
    found = alarms_for(brew(), call=call(crosses, probability), oxygen=oxygen(now_mg), troubles=(), now=START)
    assert [item.kind for item in found] == kinds


def test_an_old_value_is_no_alarm() -> None:
    assert alarms_for(brew(), call=None, oxygen=oxygen(0.5, minutes=300), troubles=(), now=START) == ()


@pytest.mark.parametrize(("hour", "quiet"), [(21, False), (22, True), (3, True), (6, False), (12, False)])
def test_quiet_hours_go_over_midnight(hour: int, quiet: bool) -> None:
    assert is_quiet(NIGHT, START.replace(hour=hour)) is quiet


def test_at_night_only_the_urgent_goes_out_and_the_rest_in_the_morning() -> None:
    dispatch, night = Dispatch(), START.replace(hour=23)
    assert dispatch.due((LOW, AHEAD), NIGHT, now=night) == (LOW,)
    assert dispatch.due((LOW, AHEAD), replace(NIGHT, urgent_breaks_quiet=False), now=night) == ()
    assert dispatch.due((LOW, AHEAD), NIGHT, now=START) == (LOW, AHEAD)


@pytest.mark.parametrize(
    "wrong",
    [
        {"quiet_from": "25:00", "quiet_to": "06:00"},
        {"quiet_from": "22:00"},
        {"webhook": "ftp://x"},
        {"mail_to": "me"},
        {"mail_to": "a@b.example\nBcc: x@y.example", "mail_host": "h"},
    ],
)
def test_settings_that_cannot_work_are_refused(wrong: dict[str, str]) -> None:
    with pytest.raises(UnusableRecord):
        AlarmSettings(**wrong)  # type: ignore[arg-type]


@contextmanager
def web_address(status: int = 200) -> Iterator[tuple[str, list[dict]]]:
    got: list[dict] = []

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            got.append(json.loads(self.rfile.read(int(self.headers["content-length"]))))
            self.send_response(status)
            self.end_headers()

        def log_message(self, *_: object) -> None:
            pass

    with ThreadingHTTPServer(("127.0.0.1", 0), Handler) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_port}/tea", got
        server.shutdown()


def test_a_web_address_is_called_once_for_an_alarm_that_stands() -> None:
    dispatch = Dispatch()
    with web_address() as (address, got):
        settings = AlarmSettings(webhook=address)
        for minutes in (0, 20, 60):
            now = START + timedelta(minutes=minutes)
            dispatch.send(dispatch.due((LOW,), settings, now=now), settings, now=now)
        assert [item["alarms"][0]["kind"] for item in got] == ["oxygen low"]
        late = START + timedelta(hours=3)
        dispatch.send(dispatch.due((LOW,), settings, now=late), settings, now=late)
        assert len(got) == 2


def test_an_alarm_that_could_not_be_sent_is_said_and_tried_again() -> None:
    dispatch = Dispatch()
    with web_address(status=500) as (address, got):
        settings = AlarmSettings(webhook=address)
        for minutes in (0, 1):
            now = START + timedelta(minutes=minutes)
            dispatch.send(dispatch.due((LOW,), settings, now=now), settings, now=now)
        assert len(got) == 2 and "webhook" in dispatch.says


@contextmanager
def mail_server() -> Iterator[tuple[int, list[str]]]:
    """Enough of RFC 5321 to take one message."""
    got: list[str] = []

    class Handler(socketserver.StreamRequestHandler):
        def handle(self) -> None:
            self.wfile.write(b"220 test\r\n")
            while line := self.rfile.readline():
                verb = line[:4].upper()
                if verb == b"DATA":
                    self.wfile.write(b"354 go\r\n")
                    lines = []
                    while (part := self.rfile.readline()) != b".\r\n":
                        lines.append(part.decode())
                    got.append("".join(lines))
                self.wfile.write(b"221 bye\r\n" if verb == b"QUIT" else b"250 ok\r\n")

    with socketserver.ThreadingTCPServer(("127.0.0.1", 0), Handler) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield server.server_address[1], got
        server.shutdown()


def test_a_mail_is_sent_and_a_password_never_goes_over_an_open_line() -> None:
    dispatch = Dispatch()
    with mail_server() as (port, got):
        settings = AlarmSettings(mail_to="me@tea.example", mail_host="127.0.0.1", mail_port=port)
        dispatch.send((LOW,), settings, now=START)
        assert "Subject: Aerobe: Barrel: oxygen low" in got[0]
        dispatch.send((AHEAD,), replace(settings, mail_user="me", mail_password="secret"), now=START)
        assert len(got) == 1 and "no encryption" in dispatch.says


def test_low_oxygen_shows_on_every_page(brewing: Shed) -> None:
    brewing.post("/brews/barrel-1/readings", what="oxygen", signal="1,2", signal_unit="mg/L", entry="e1")
    brewing.app.state.watch.look()
    for path in ("/", "/settings", "/parts/alarms"):
        assert "below the floor" in brewing.client.get(path).text
    brewing.clock.turn(minutes=1)
    brewing.post("/brews/barrel-1/readings", what="oxygen", signal="6", signal_unit="mg/L", entry="e2")
    brewing.app.state.watch.look()
    assert "below the floor of 2. More air" not in brewing.client.get("/").text


def test_alarm_settings_go_in_and_the_password_never_comes_out(brewing: Shed) -> None:
    sent = {"mail_to": "me@tea.example", "mail_host": "mail.tea.example", "mail_user": "me", "mail_password": "secretword"}
    assert brewing.post("/settings/alarms", **sent).status_code == 303
    assert "secretword" not in brewing.client.get("/settings").text
    brewing.post("/settings/alarms", **{**sent, "mail_password": ""})
    assert brewing.state.get("alarms")["mail_password"] == "secretword"


def test_reminders_become_a_calendar_that_others_can_read() -> None:
    import icalendar

    due = [
        usecases.brews.Reminder(
            brew="b1", brew_name="Barrel, north", what="test", says="Test at 14:10: worth 12", at=START + timedelta(hours=6)
        ),
        usecases.brews.Reminder(
            brew="b1",
            brew_name="Barrel, north",
            what="harvest",
            says="Best 17:00",
            at=START + timedelta(hours=9),
            until=START + timedelta(hours=11),
        ),
    ]
    # RFC 5545: a calendar has VERSION and PRODID, an event UID, DTSTAMP and DTSTART; lines end with CRLF and are folded at 75.
    text = usecases.brews.calendar_of(due, now=START)
    assert text.startswith(b"BEGIN:VCALENDAR\r\n") and all(len(line) <= 75 for line in text.split(b"\r\n"))
    events = list(icalendar.Calendar.from_ical(text).walk("VEVENT"))
    assert [event.decoded("dtstart") for event in events] == [item.at for item in due]
    assert events[0]["summary"] == "Barrel, north: test" and len({event["uid"] for event in events}) == 2
    moved = list(icalendar.Calendar.from_ical(usecases.brews.calendar_of([replace(due[0], at=START)], now=START)).walk("VEVENT"))
    assert moved[0]["uid"] == events[0]["uid"]


@pytest.mark.parametrize(
    "address",
    [
        "http://a..b/x",
        "http://a\0b/",
        "https://" + "a" * 64 + ".example/",
        "https://" + "a." * 200 + "example/",
        "http://",
        "ftp://a.example/",
        "http://a b/",
        "http://a.example:99999/",
        "http://a.example:x/",
        "http://[::1/",
        "http://-a.example/",
        "javascript:alert(1)",
    ],
)
def test_an_address_that_nobody_could_call_is_refused_when_it_is_set(address: str) -> None:
    with pytest.raises(UnusableRecord):
        AlarmSettings(webhook=address)


@pytest.mark.parametrize(
    "address",
    ["http://192.168.1.20:8123/api", "https://hook.example.org/x?y=z", "http://[fd00::1]:80/", "http://bücher.example/"],
)
def test_an_ordinary_address_is_taken(address: str) -> None:
    assert AlarmSettings(webhook=address).webhook == address


def test_a_dripping_answer_holds_up_nobody() -> None:
    import socket
    import threading

    heard = threading.Event()
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]

        def drip() -> None:
            line, _ = server.accept()
            with line:
                line.recv(65536)
                line.sendall(b"HTTP/1.1 200 OK\r\nContent-Length: 1000000\r\n\r\n")
                heard.wait(240.0)  # the rest never comes

        threading.Thread(target=drip, daemon=True).start()
        dispatch, settings = Dispatch(), AlarmSettings(webhook=f"http://127.0.0.1:{port}/")
        alarm = Alarm(brew="b", brew_name="B", kind="oxygen low", says="low", at=START, urgent=True)
        dispatch.send((alarm,), settings, now=START)
        assert dispatch.says == ""  # sent, and ended while the answer still drips
        heard.set()


def test_whatever_a_way_of_telling_raises_is_said_and_never_leaves_the_sender(monkeypatch: pytest.MonkeyPatch) -> None:
    from aerobe.web import _alarms

    def burst(*_: object) -> None:
        raise ValueError("odd")

    monkeypatch.setattr(_alarms, "_call", burst)
    dispatch = Dispatch()
    alarm = Alarm(brew="b", brew_name="B", kind="oxygen low", says="low", at=START, urgent=True)
    dispatch.send((alarm,), AlarmSettings(webhook="http://a.example/"), now=START)
    assert "odd" in dispatch.says and dispatch.due((alarm,), AlarmSettings(webhook="http://a.example/"), now=START) == (alarm,)


def test_alarms_of_one_brew_stand_in_one_box_and_urgent_ones_come_first() -> None:
    other = replace(AHEAD, brew="c", brew_name="Bucket")
    boxes = boxes_of([other, LOW, AHEAD, replace(AHEAD, kind="oxygen probe silent", says="The probe is silent.")])
    assert [box.brew for box in boxes] == ["b", "c"] and boxes[0].urgent
    assert boxes[0].says == ("Oxygen is 1.0 mg/L.", "The probe is silent.")  # the same sentence once


def test_an_alarm_is_put_away_until_something_new_is_wrong(brewing: Shed) -> None:
    watch = brewing.app.state.watch
    calm = replace(LOW, brew="barrel-1", kind="oxygen probe silent", says="The probe is silent.", urgent=False)
    watch._standing = (calm,)
    assert "The probe is silent." in brewing.client.get("/").text
    mark = watch.boxes()[0].mark
    answer = brewing.post("/alarms/seen", mark=mark, back="/shelf")
    assert answer.status_code == 303 and answer.headers["location"] == "/shelf"
    assert "The probe is silent." not in brewing.client.get("/").text
    watch._standing = (calm, replace(LOW, brew="barrel-1"))
    assert "Oxygen is 1.0 mg/L." in brewing.client.get("/").text  # news is never hidden by what was put away
    brewing.post("/alarms/seen", mark=watch.boxes()[0].mark, back="//elsewhere.example")
    assert watch.boxes() == ()
    brewing.clock.turn(hours=3)
    assert watch.boxes()[0].urgent  # what is urgent comes back by itself
    assert watch.alarms() == (calm, replace(LOW, brew="barrel-1"))  # mail goes by what stands, not by what is shown


def test_what_is_sent_is_in_the_display_units_and_pages_show_it_by_themselves(
    brewing: Shed, monkeypatch: pytest.MonkeyPatch
) -> None:
    watch, sent = brewing.app.state.watch, []
    chosen = {"oxygen": "%", "temperature": "\u00b0F", "decimal": ","}
    usecases.notebook.set_display_units(brewing.notebook, chosen, now=brewing.clock())
    cold = replace(LOW, brew="", brew_name="The clock", kind="cold", says="It is 20.5 \u00b0C.")
    standing = (replace(LOW, brew="barrel-1"), cold)
    assert [item.says for item in watch._in_display_units(standing)] == ["Oxygen is 11 % of saturation.", "It is 68,9 \u00b0F."]
    monkeypatch.setattr(watch.dispatch, "due", lambda alarms, *_, **__: alarms)
    monkeypatch.setattr(watch.dispatch, "send_beside", lambda alarms, *_, **__: sent.extend(alarms))
    monkeypatch.setattr("aerobe.web._watch.alarms_for", lambda *_, **__: [standing[0]])
    watch.look()
    assert [item.says for item in sent] == ["Oxygen is 11 % of saturation."]
    assert [item.says for item in watch.alarms()] == ["Oxygen is 1.0 mg/L."]


def test_more_changes_than_are_read_at_once_mean_look_at_everything(brewing: Shed, monkeypatch: pytest.MonkeyPatch) -> None:
    watch, told = brewing.app.state.watch, []
    watch.tell_changes()
    monkeypatch.setattr(watch.live, "tell", lambda *topic: told.append(topic))
    monkeypatch.setattr(brewing.notebook, "last_change", lambda: watch._seen + 201)
    watch.tell_changes()
    assert ("everything",) in told


def test_nobody_is_led_elsewhere_after_an_alarm(brewing: Shed) -> None:
    for back in ("//elsewhere.example", "https://elsewhere.example", "/\\elsewhere.example"):
        assert brewing.post("/alarms/seen", mark="x", back=back).headers["location"] == "/"


def test_the_probe_of_the_demo_goes_on_reading(shed: Shed) -> None:
    key = usecases.notebook.make_demo(shed.notebook, now=shed.clock())
    brew = shed.notebook.get(Brew, key)
    shed.clock.turn(hours=2)
    assert usecases.brews.live_troubles(shed.notebook, brew, now=shed.clock())
    assert usecases.notebook.keep_demo_alive(shed.notebook, now=shed.clock()) == pytest.approx(240, abs=4)
    assert usecases.brews.live_troubles(shed.notebook, brew, now=shed.clock()) == ()
    assert usecases.notebook.keep_demo_alive(shed.notebook, now=shed.clock()) == 0
    times, values = shed.notebook.log(key, "oxygen", probe="demo")
    assert (np.diff(times) > 0).all() and (values >= 0).all()
    shed.clock.turn(days=5)
    assert usecases.notebook.keep_demo_alive(shed.notebook, now=shed.clock()) == 0  # a demo left for days is left alone


def test_a_notebook_of_ones_own_is_never_added_to(brewing: Shed) -> None:
    before = brewing.notebook.last_change()
    assert usecases.notebook.keep_demo_alive(brewing.notebook, now=brewing.clock()) == 0
    assert brewing.notebook.last_change() == before
