"""Does the app's memory stay flat? Pages, readings, reports and a probe for as long as asked; its memory once a minute.

python -m benchmarks.does_memory_stay_flat --minutes 120
"""

from __future__ import annotations

import argparse
import os
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import httpx

from aerobe import usecases
from aerobe.web import open_state
from aerobe.web._senders import add_sender
from tests.web.conftest import form_token

PAGES = (
    "/",
    "/record",
    "/brews/kelp-3",
    "/brews/kelp-1",
    "/trials",
    "/safety/brews/kelp-3",
    "/oxygen",
    "/search?q=kelp",
    "/shelf",
)
PAUSE_S = 0.5


def memory_mb(process: int) -> float:
    """What a process holds of the machine's memory. [MB]"""
    for line in Path(f"/proc/{process}/status").read_text().splitlines():
        if line.startswith("VmRSS"):
            return float(line.split()[1]) / 1024.0
    return float("nan")


def main() -> None:
    """Serve an invented notebook, load it, and print its memory."""
    asked = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    asked.add_argument("--minutes", type=float, default=120.0)
    minutes = asked.parse_args().minutes
    from datetime import datetime

    now = datetime.now().astimezone()
    with tempfile.TemporaryDirectory(prefix="aerobe-soak-") as folder, socket.socket() as probe:
        path = Path(folder) / "tea.notebook"
        with usecases.notebook.open_notebook(path, at=now) as book:
            usecases.notebook.make_demo(book, now=now)
        (Path(folder) / "tea.notebook.app").mkdir()
        token = add_sender(open_state(Path(folder) / "tea.notebook.app" / "app.json"), name="probe", place="kelp-3", now=now)
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
        probe.close()
        words = [sys.executable, "-m", "aerobe", "serve", "--notebook", str(path), "--port", str(port)]
        running = subprocess.Popen(words, stdout=subprocess.DEVNULL)
        try:
            _load(f"http://127.0.0.1:{port}", token, running, minutes)
        finally:
            running.terminate()
            running.wait()


def _load(address: str, token: str, running: subprocess.Popen[bytes], minutes: float) -> None:
    client = httpx.Client(base_url=address, timeout=120.0, follow_redirects=True)
    while True:
        try:
            form = form_token(client.get("/menu").text)
            break
        except httpx.TransportError:
            time.sleep(0.5)
    began, told, count, faults, cut = time.monotonic(), 0.0, 0, 0, 0
    while time.monotonic() - began < 60.0 * minutes:
        count += 1
        if running.poll() is not None:
            raise SystemExit(f"the server ended by itself with {running.returncode}")
        try:
            faults += sum(answer.status_code >= 500 for answer in _round(client, token, form, count))
        except httpx.TransportError:
            cut += 1  # a line that rested too long on a busy machine is closed by the server; a person asks again
        if time.monotonic() - told > 60.0:
            told = time.monotonic()
            load = os.getloadavg()[0]
            print(
                f"{(told - began) / 60:5.0f} min  {memory_mb(running.pid):6.0f} MB  {count} rounds  {faults} faults  "
                f"{cut} cut  load {load:.1f}",
                flush=True,
            )
        time.sleep(PAUSE_S)


def _round(client: httpx.Client, token: str, form: str, count: int) -> list[httpx.Response]:
    answers = [client.get(PAGES[count % len(PAGES)])]
    point = {"channel": "oxygen", "unit": "mg/L", "value": 6.0 + (count % 100) / 100.0}
    answers.append(client.post("/log/points", json=point, headers={"authorization": f"Bearer {token}"}))
    if count % 10 == 0:
        sent = {"what": "pH", "signal": "7.1", "entry": f"s{count}"}
        answers.append(client.post("/brews/kelp-3/readings", data=sent, headers={"x-aerobe-form": form}))
    if count % 200 == 0:
        answers.append(client.get("/reports/brew/kelp-1.html"))
    return answers


if __name__ == "__main__":
    main()
