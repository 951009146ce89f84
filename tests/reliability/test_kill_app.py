"""Kill -9 of the app while a phone sends: nothing acknowledged is lost, and what is sent again, even twice, is there once."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest

from aerobe import usecases
from aerobe.notebook import Notebook, check, open_notebook
from aerobe.records import Brew, Use
from tests.notebook.conftest import NOW
from tests.ports import free_port
from tests.reliability.forms import PICTURE
from tests.web.conftest import BREW, form_token

ROOT = Path(__file__).parents[2]
KINDS = ("reading", "oxygen", "temperature", "pH", "conductivity", "smell", "brew", "use")
ENTRIES = 400
PATIENCE_S = 240.0  # a machine that others use as well takes long to start anew
pytestmark = pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="this system has no kill -9")


@contextmanager
def app(folder: Path) -> Iterator[tuple[subprocess.Popen[bytes], str]]:
    """`aerobe serve` as a person starts it; gives the process and its address."""
    port = free_port()
    words = [sys.executable, "-m", "aerobe", "serve", "--notebook", str(folder / "tea.notebook"), "--port", str(port)]
    running = subprocess.Popen(words, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    address = f"http://127.0.0.1:{port}"
    try:
        end = time.monotonic() + PATIENCE_S
        while True:
            try:
                httpx.get(f"{address}/menu", timeout=PATIENCE_S)
                break
            except httpx.TransportError:
                assert running.poll() is None and time.monotonic() < end, "the app did not start"
                time.sleep(0.05)
        yield running, address
    finally:
        running.kill()
        running.wait()


class Phone:
    """One device: its session, and the entries that it keeps until they are acknowledged."""

    def __init__(self, address: str, cookies: httpx.Cookies | None = None) -> None:
        self.client = httpx.Client(base_url=address, cookies=cookies, timeout=PATIENCE_S)
        self.token = form_token(self.client.get("/menu").text)

    def send(self, number: int) -> bool:
        """Send one entry; whether it was acknowledged."""
        kind = kind_of(number)
        fields = {"entry": f"e{number}", "age_s": "60", **fields_of(number)}
        address = {"brew": "/brews", "use": "/safety/use"}.get(kind, "/brews/barrel-1/readings")
        headers = {
            "accept": "text/html" if kind in ("brew", "use") else "application/json",
            "x-aerobe-form": self.token,
        }
        files = {"photo": ("s.png", PICTURE, "image/png")} if kind == "reading" else None
        try:
            answer = self.client.post(address, data=fields, files=files, headers=headers)
        except httpx.TransportError:
            return False
        assert answer.status_code in (200, 303), (kind, answer.status_code, answer.text[:500])
        return True


def kind_of(number: int) -> str:
    return KINDS[number % len(KINDS)]


def fields_of(number: int) -> dict[str, str]:
    """What a person typed; the number is in it, so that a second time would be seen."""
    match kind_of(number):
        case "reading":
            return {"what": "assay:home-colour-test", "signal": f"{number}"}
        case "brew":
            return {**BREW, "name": f"Other {number}", "vessel": "barrel", "recipe": "leaf-mould-and-molasses-cane-blackstrap"}
        case "use":
            return {"brew": "barrel-1", "place": f"bed {number}", "method": "drench", "do": "keep"}
        case "smell":
            return {"what": "smell", "signal": f"earthy {number}"}
        case kind:
            return {"what": kind, "signal": f"{7 + number / 10_000:.4f}"}


def times_there(book: Notebook, number: int) -> int:
    """How often an entry is in the notebook."""
    kind, fields = kind_of(number), fields_of(number)
    match kind:
        case "reading":
            return sum(item.signal == number for item in book.readings("barrel-1", with_corrected=True))
        case "brew":
            return sum(item.name == fields["name"] for item in book.find(Brew))
        case "use":
            return sum(item.place == fields["place"] for item in book.find(Use))
        case "smell":
            return sum(item.payload["smell"] == fields["signal"] for item in book.kept("smell", "barrel-1"))
        case _:
            return int((abs(book.log("barrel-1", kind)[1] - float(fields["signal"])) < 1e-9).sum())


def kill_and_send_again(folder: Path, seed: int) -> tuple[int, int]:
    """One round; gives how many entries were acknowledged before the kill, and how many were under way then."""
    rng = random.Random(seed)
    acknowledged: set[int] = set()
    sent: list[int] = []
    with app(folder) as (running, address):
        first = Phone(address)
        answer = first.client.post("/brews", data={**BREW, "entry": "start"}, headers={"x-aerobe-form": first.token})
        assert answer.status_code == 303
        cookies = first.client.cookies
        stop_after = rng.randrange(20, 80)
        lock = threading.Lock()

        def work(numbers: range) -> None:
            phone = Phone(address, cookies)
            for number in numbers:
                with lock:
                    sent.append(number)
                if not phone.send(number):
                    return
                with lock:
                    acknowledged.add(number)

        hands = [threading.Thread(target=work, args=(range(start, ENTRIES, 2),)) for start in (0, 1)]
        for hand in hands:
            hand.start()
        while len(acknowledged) < stop_after and any(hand.is_alive() for hand in hands):
            time.sleep(0.001)
        time.sleep(rng.random() * 0.02)  # somewhere inside one of the next entries
        os.kill(running.pid, signal.SIGKILL)
        for hand in hands:
            hand.join()
    with open_notebook(folder / "tea.notebook", at=NOW) as book:
        assert check(book) == []
        for number in sent:
            there = times_there(book, number)
            assert there <= 1 and (there == 1 or number not in acknowledged), (number, kind_of(number))
    with app(folder) as (_, address):
        phone = Phone(address, cookies)  # the same device: its cookie and its forms still count
        for number in [*sent, *sent]:
            assert phone.send(number)
    with open_notebook(folder / "tea.notebook", at=NOW) as book:
        assert check(book) == []
        assert {number: times_there(book, number) for number in sent} == dict.fromkeys(sent, 1)
        # Each reading has its photo once; the picture is the same, so that one file holds it.
        photos = folder / "tea.notebook.app" / "photos"
        for number in (number for number in sent if kind_of(number) == "reading"):
            found = usecases.notebook.photos_of(book, photos, f"r-e{number}")
            assert [photo.read_bytes() for photo in found] == [PICTURE], number
        assert len(list(photos.glob("*"))) == 1
    return len(acknowledged), len(sent) - len(acknowledged)


@pytest.mark.parametrize("seed", [1])
def test_nothing_acknowledged_is_lost_and_nothing_sent_again_is_there_twice(tmp_path: Path, seed: int) -> None:
    acknowledged, under_way = kill_and_send_again(tmp_path, seed)
    assert acknowledged >= 20 and under_way >= 1
