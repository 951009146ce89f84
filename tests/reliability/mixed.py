"""A mixed load on `aerobe serve`, killed again and again: readings with photos, corrections, smells, uses, probes over
HTTP and MQTT, reports under way. Each hand keeps what it has until it is acknowledged and sends it again after the restart.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import random
import shutil
import signal
import subprocess
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

import httpx

from aerobe import usecases
from aerobe.notebook import Notebook, check, open_notebook
from aerobe.records import Use
from aerobe.web import open_state
from aerobe.web._senders import add_sender
from tests.ports import free_port
from tests.reliability.forms import PICTURE
from tests.reliability.test_kill_app import PATIENCE_S, Phone, app
from tests.web.conftest import BREW
from tests.web.test_probes import wait_for_broker

BREW_KEY = "barrel-1"
POINTS = 3  # values in one batch of the probe over HTTP
MOSQUITTO = shutil.which("mosquitto") or ("/usr/sbin/mosquitto" if Path("/usr/sbin/mosquitto").exists() else None)


@dataclass
class Tally:
    """What was done and what came of it."""

    kills: int = 0
    acknowledged: Counter[str] = field(default_factory=Counter)
    sent_again: int = 0  # entries that were under way at a kill
    reports: int = 0  # that came whole
    reports_cut: int = 0  # that were being made at a kill
    refused: list[str] = field(default_factory=list)  # answers that were neither


class Load:
    """The hands, and what each of them was told is kept."""

    def __init__(self, folder: Path, broker_port: int | None) -> None:
        self.folder, self.broker_port = folder, broker_port
        self.address = ""
        self.up = threading.Event()
        self.ended = threading.Event()
        self.tally = Tally()
        self.kept: dict[str, set[int]] = {
            kind: set() for kind in ("reading", "correction", "smell", "use", "oxygen", "temperature")
        }
        self.begun = datetime.now().astimezone()
        self.cookies = httpx.Cookies()
        self.sender = ""

    def hands(self) -> list[threading.Thread]:
        """One thread for each hand; none is begun yet."""
        works: list[Callable[[], None]] = [self._person, self._second_person, self._probe, self._reader]
        if self.broker_port is not None:
            works.append(self._publisher)
        return [threading.Thread(target=work, daemon=True) for work in works]

    def through_the_app(self) -> int:
        """How many entries the app itself has acknowledged; the broker takes values while the app is away."""
        return sum(count for kind, count in self.tally.acknowledged.items() if kind != "temperature")

    def _note(self, kind: str, number: int) -> None:
        self.kept[kind].add(number)
        self.tally.acknowledged[kind] += 1

    def _until_kept(self, once: Callable[[], httpx.Response]) -> bool:
        """Send until an answer says that it is kept; False if the load ended before."""
        while not self.ended.is_set():
            if not self.up.wait(0.2):
                continue
            try:
                answer = once()
            except httpx.TransportError:
                self.tally.sent_again += 1
                self.ended.wait(0.05)
                continue
            if answer.status_code in (200, 303):
                return True
            self.tally.refused.append(f"{answer.request.url.path} {answer.status_code}: {answer.text[:300]}")
            return False
        return False

    def _phone(self) -> Phone | None:
        while not self.ended.is_set():
            if not self.up.wait(0.2):
                continue
            with contextlib.suppress(httpx.TransportError):
                return Phone(self.address, self.cookies)
        return None

    def _form(self, phone: Phone, path: str, fields: dict[str, str], photo: bytes | None = None) -> httpx.Response:
        files = {"photo": ("s.png", photo, "image/png")} if photo is not None else None
        headers = {"x-aerobe-form": phone.token, "accept": "application/json"}
        return phone.client.post(f"{self.address}{path}", data=fields, files=files, headers=headers)

    def _person(self) -> None:
        phone, number = self._phone(), 0
        while phone is not None and not self.ended.is_set():
            number += 1
            told = {"entry": f"e{number}", "age_s": "1"}
            path = f"/brews/{BREW_KEY}/readings"
            if number % 3 == 0:
                kind, sent, photo = "smell", {**told, "what": "smell", "signal": f"earthy {number}"}, None
            elif number % 7 == 0:
                path, photo = "/safety/use", None
                kind, sent = "use", {**told, "brew": BREW_KEY, "place": f"bed {number}", "method": "drench", "do": "keep"}
            else:
                kind, photo = "reading", picture(number)
                sent = {**told, "what": "assay:home-colour-test", "signal": f"{number}"}
            if self._until_kept(lambda path=path, sent=sent, photo=photo: self._form(phone, path, sent, photo)):  # type: ignore[misc]
                self._note(kind, number)

    def _second_person(self) -> None:
        """Corrects what the first was told is kept."""
        phone = self._phone()
        done: set[int] = set()
        while phone is not None and not self.ended.is_set():
            waiting = sorted(set(self.kept["reading"]) - done)
            if not waiting:
                self.ended.wait(0.05)
                continue
            number = waiting[-1]
            done.add(number)
            path, sent = (
                f"/brews/{BREW_KEY}/readings/r-e{number}/correct",
                {"entry": f"c{number}", "signal": f"{number}.5", "why": "a slip"},
            )
            if self._until_kept(lambda path=path, sent=sent: self._form(phone, path, sent)):  # type: ignore[misc]
                self._note("correction", number)

    def _at(self, number: int) -> str:
        return (self.begun + timedelta(milliseconds=20 * number)).isoformat()

    def _probe(self) -> None:
        number = 0
        headers = {"authorization": f"Bearer {self.sender}"}
        with httpx.Client(timeout=PATIENCE_S) as client:
            while not self.ended.is_set():
                points = [[self._at(one), value(one)] for one in range(number, number + POINTS)]
                told = {"channel": "oxygen", "unit": "mg/L", "points": points}
                if self._until_kept(lambda told=told: client.post(f"{self.address}/log/points", json=told, headers=headers)):  # type: ignore[misc]
                    for one in range(number, number + POINTS):
                        self._note("oxygen", one)
                number += POINTS
                self.ended.wait(0.05)

    def _publisher(self) -> None:
        """Acknowledged by the broker counts as kept: the app may be away."""
        from paho.mqtt.client import Client
        from paho.mqtt.enums import CallbackAPIVersion

        client, number = Client(CallbackAPIVersion.VERSION2), 0
        client.connect("127.0.0.1", self.broker_port or 0)
        client.loop_start()
        while not self.ended.is_set():
            told = {"value": value(number), "unit": "degC", "at": self._at(number)}
            sent = client.publish("yard/temperature", json.dumps(told), qos=1)
            sent.wait_for_publish(PATIENCE_S)
            if sent.is_published():
                self._note("temperature", number)
            number += 1
            self.ended.wait(0.3)
        client.disconnect()
        client.loop_stop()

    def _reader(self) -> None:
        """Asks for one report after the other."""
        with httpx.Client(timeout=PATIENCE_S) as client:
            while not self.ended.is_set():
                if not self.up.wait(0.2):
                    continue
                try:
                    answer = client.get(f"{self.address}/reports/brew/{BREW_KEY}.html")
                except httpx.TransportError:
                    self.tally.reports_cut += 1
                    self.ended.wait(0.05)
                    continue
                if answer.status_code == 200 and answer.text.rstrip().endswith("</html>"):
                    self.tally.reports += 1
                elif answer.status_code != 503 or "ask again" not in answer.text:
                    self.tally.refused.append(f"report {answer.status_code}: {answer.text[:300]}")
                self.ended.wait(0.5)


def picture(number: int) -> bytes:
    """A photo that no other reading has."""
    return PICTURE + f"{number}".encode()


def value(number: int) -> float:
    """What a probe shows: no two are alike."""
    return round(7.0 + number / 1e5, 5)


@contextmanager
def broker() -> Iterator[int | None]:
    """A broker that outlives the app; None where none is installed."""
    if MOSQUITTO is None:
        yield None
        return
    port = free_port()
    process = subprocess.Popen(
        [MOSQUITTO, "-c", "/dev/stdin"], stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    assert process.stdin is not None
    process.stdin.write(f"listener {port} 127.0.0.1\nallow_anonymous true\nmax_queued_messages 0\n".encode())
    process.stdin.close()
    try:
        wait_for_broker(process, port)
        yield port
    finally:
        process.terminate()
        process.wait(PATIENCE_S)


def kill_under_load(folder: Path, *, kills: int, seed: int, say: Callable[[str], None] = lambda words: None) -> Tally:
    """So many kill -9 at random moments of one load on one notebook; after each, and at the end, all is looked at.

    Raises
    ------
    AssertionError
        If something acknowledged is lost, anything is there twice or in part, or an answer is neither yes nor a queue.
    """
    rng = random.Random(seed)
    notebook = folder / "tea.notebook"
    with broker() as port:
        load = Load(folder, port)
        _prepare(load, port)
        hands = load.hands()
        for number in range(kills):
            with app(folder) as (running, address):
                load.address = address
                if number == 0:
                    _begin_brew(load)
                    for hand in hands:
                        hand.start()
                before, more = load.through_the_app(), rng.randrange(5, 60)
                load.up.set()
                until = time.monotonic() + PATIENCE_S
                while load.through_the_app() < before + more and time.monotonic() < until:
                    time.sleep(0.001)
                time.sleep(rng.random() * 0.2)  # somewhere inside one of the next entries
                os.kill(running.pid, signal.SIGKILL)
                load.tally.kills += 1
                load.up.clear()
                running.wait()
            with open_notebook(notebook, at=datetime.now().astimezone(), create=False) as book:
                assert check(book) == []
                _compare(book, load, whole=False)
            assert load.tally.refused == [], load.tally.refused[:3]
            if number % 10 == 9:
                acknowledged = sum(load.tally.acknowledged.values())
                say(f"{number + 1} kills, {acknowledged} acknowledged, {load.tally.sent_again} sent again")
        _finish(load, hands, folder)
    return load.tally


def _prepare(load: Load, port: int | None) -> None:
    memory = load.folder / "tea.notebook.app"
    memory.mkdir(parents=True, exist_ok=True)
    state = open_state(memory / "app.json")
    load.sender = add_sender(state, name="probe 1", place=BREW_KEY, now=load.begun)
    if port is not None:
        topics = [{"topic": "yard/temperature", "place": BREW_KEY, "channel": "temperature", "unit": "degC"}]
        state.change(
            "broker", lambda _: {"host": "127.0.0.1", "port": port, "user": "", "tls": False, "topics": topics, "password": ""}
        )


def _begin_brew(load: Load) -> None:
    first = Phone(load.address)
    answer = first.client.post("/brews", data={**BREW, "entry": "start"}, headers={"x-aerobe-form": first.token})
    assert answer.status_code == 303, answer.text[:500]
    load.cookies = first.client.cookies


def _finish(load: Load, hands: list[threading.Thread], folder: Path) -> None:
    """The load ends, what still waits is sent, and everything is there once."""
    with app(folder) as (_, address):
        load.address = address
        load.up.set()
        until = time.monotonic() + PATIENCE_S
        wanted = {"reading", "oxygen", *(("temperature",) if load.broker_port is not None else ())}
        while not wanted <= set(load.tally.acknowledged) and time.monotonic() < until:
            time.sleep(0.1)  # so short a load may not have come so far before its kill
        load.ended.set()
        for hand in hands:
            hand.join(PATIENCE_S)
        with open_notebook(folder / "tea.notebook", at=load.begun, create=False) as book:
            _wait_for_the_broker(book, len(load.kept["temperature"]))
    with open_notebook(folder / "tea.notebook", at=load.begun, create=False) as book:
        assert check(book) == []
        _compare(book, load, whole=True)
        photos = folder / "tea.notebook.app" / "photos"
        for number in load.kept["reading"]:
            found = usecases.notebook.photos_of(book, photos, f"r-e{number}")
            assert [hashlib.sha256(item.read_bytes()).digest() for item in found] == [hashlib.sha256(picture(number)).digest()], (
                number
            )
        assert not list(photos.glob("*.half")) and not list(photos.glob("*.part"))


def _wait_for_the_broker(book: Notebook, wanted: int) -> None:
    """It hands on what came while the app was away; waited for as long as something comes."""
    came, since = 0, time.monotonic()
    while came < wanted and time.monotonic() - since < PATIENCE_S:
        now = len(_there(book)["temperature"])
        if now > came:
            came, since = now, time.monotonic()
        time.sleep(0.5)


def _there(book: Notebook) -> dict[str, Counter[int]]:
    """How often each number of each kind is in the notebook."""
    readings = book.readings(BREW_KEY, with_corrected=True)
    logs = {channel: book.log(BREW_KEY, channel)[1] for channel in ("oxygen", "temperature")}
    return {
        "reading": Counter(int(item.signal) for item in readings if not item.replaces),
        "correction": Counter(int(item.replaces.removeprefix("r-e")) for item in readings if item.replaces),
        "smell": Counter(int(item.payload["smell"].split()[-1]) for item in book.kept("smell", BREW_KEY)),
        "use": Counter(int(item.place.split()[-1]) for item in book.find(Use)),
        **{name: Counter(round((one - 7.0) * 1e5) for one in values) for name, values in logs.items()},
    }


def _compare(book: Notebook, load: Load, *, whole: bool) -> None:
    """Nothing acknowledged is lost, nothing is there twice. A value that the broker still holds is not lost before the end."""
    kept = {kind: set(numbers) for kind, numbers in load.kept.items()}  # what was told by now; what comes now is under way
    for kind, counts in _there(book).items():
        twice = [number for number, count in counts.items() if count > 1]
        assert not twice, f"{kind} {twice[:5]} is there twice"
        lost = kept[kind] - set(counts) if whole or kind != "temperature" else set()
        assert not lost, f"{kind} {sorted(lost)[:5]} is lost"
