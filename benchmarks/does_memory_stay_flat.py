"""Does the app's memory stay flat? Pages, readings, reports and a probe for as long as asked; its memory once a minute.

python -m benchmarks.does_memory_stay_flat --minutes 120 --to soak.txt

A line that breaks is tried again and counted; it never ends the run. What the server said last and how it ended stand at the end.
"""

from __future__ import annotations

import argparse
import os
import socket
import subprocess
import sys
import tempfile
import time
from contextlib import ExitStack
from datetime import datetime
from pathlib import Path
from typing import TextIO

import httpx

from aerobe import usecases
from aerobe.web import open_state
from aerobe.web._senders import add_sender
from tests.web.conftest import form_token

PAGES = (
    "/",
    "/record",
    "/brews/kelp-5",
    "/brews/kelp-1",
    "/trials",
    "/safety/brews/kelp-5",
    "/oxygen",
    "/search?q=kelp",
    "/shelf",
)
PAUSE_S = 0.5
TOLD_FAULTS = 30
TAIL = 40


def memory_mb(process: int) -> float:
    """What a process holds of the machine's memory. [MB]"""
    for line in Path(f"/proc/{process}/status").read_text().splitlines():
        if line.startswith("VmRSS"):
            return float(line.split()[1]) / 1024.0
    return float("nan")


def handles(process: int) -> tuple[int, int]:
    """Open files and threads of a process."""
    return len(os.listdir(f"/proc/{process}/fd")), len(os.listdir(f"/proc/{process}/task"))


def main() -> None:
    """Serve an invented notebook, load it, and tell its memory."""
    asked = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    asked.add_argument("--minutes", type=float, default=120.0)
    asked.add_argument("--pause", type=float, default=PAUSE_S, help="seconds between two rounds")
    asked.add_argument("--to", type=Path, default=None, help="a file for what is told; the screen if none")
    given = asked.parse_args()
    now = datetime.now().astimezone()
    with tempfile.TemporaryDirectory(prefix="aerobe-soak-") as folder, socket.socket() as probe, ExitStack() as open_files:
        path = Path(folder) / "tea.notebook"
        with usecases.notebook.open_notebook(path, at=now) as book:
            usecases.notebook.make_demo(book, now=now)
        (Path(folder) / "tea.notebook.app").mkdir()
        token = add_sender(open_state(Path(folder) / "tea.notebook.app" / "app.json"), name="probe", place="kelp-5", now=now)
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
        probe.close()
        said = Path(folder) / "said.txt"
        log = open_files.enter_context(said.open("wb"))
        told = open_files.enter_context(given.to.open("a")) if given.to else sys.stdout
        words = [sys.executable, "-m", "aerobe", "serve", "--notebook", str(path), "--port", str(port)]
        running = subprocess.Popen(words, stdout=log, stderr=subprocess.STDOUT)
        try:
            _Soak(f"http://127.0.0.1:{port}", token, running, told).run(given.minutes, given.pause)
        finally:
            ended = running.poll()
            running.terminate()
            last = running.wait()
            how = f"ended by itself with {ended}" if ended is not None else f"ended when asked to with {last}"
            print(
                f"the server {how}; its last lines:", *said.read_text(errors="replace").splitlines()[-TAIL:], sep="\n", file=told
            )


class _Soak:
    """One client that asks on and on, and what befell it."""

    def __init__(self, address: str, token: str, running: subprocess.Popen[bytes], told: TextIO) -> None:
        self.client = httpx.Client(base_url=address, timeout=120.0, follow_redirects=True)
        self.token, self.running, self.told = token, running, told
        self.faults, self.cuts, self.shown = 0, 0, 0

    def tell(self, words: str) -> None:
        print(f"{datetime.now():%H:%M:%S}  {words}", file=self.told, flush=True)

    def fault(self, words: str) -> None:
        self.shown += 1
        if self.shown <= TOLD_FAULTS:
            self.tell(words)

    def run(self, minutes: float, pause_s: float) -> None:
        """Ask for as long as wanted; a line each minute."""
        form = self._form()
        began, told, count = time.monotonic(), 0.0, 0
        while time.monotonic() - began < 60.0 * minutes:
            count += 1
            if self.running.poll() is not None:
                self.tell(f"after {count} rounds the server is gone")
                return
            self._round(form, count)
            if time.monotonic() - told > 60.0:
                told = time.monotonic()
                files, threads = handles(self.running.pid)
                self.tell(
                    f"{(told - began) / 60:5.0f} min  {memory_mb(self.running.pid):6.0f} MB  {files} files  {threads} threads  "
                    f"{count} rounds  {self.faults} faults  {self.cuts} cut  load {os.getloadavg()[0]:.1f}"
                )
            time.sleep(pause_s)

    def _form(self) -> str:
        while True:
            try:
                return form_token(self.client.get("/menu").text)
            except httpx.TransportError:
                if self.running.poll() is not None:
                    return ""
                time.sleep(0.5)

    def _round(self, form: str, count: int) -> None:
        self._ask("GET", PAGES[count % len(PAGES)])
        point = {"channel": "oxygen", "unit": "mg/L", "value": 6.0 + (count % 100) / 100.0}
        self._ask("POST", "/log/points", json=point, headers={"authorization": f"Bearer {self.token}"})
        if count % 10 == 0:
            sent = {"what": "pH", "signal": "7.1", "entry": f"s{count}"}
            self._ask("POST", "/brews/kelp-5/readings", data=sent, headers={"x-aerobe-form": form})
        if count % 200 == 0:
            self._ask("GET", "/reports/brew/kelp-1.html")

    def _ask(
        self,
        method: str,
        address: str,
        *,
        json: dict[str, object] | None = None,
        data: dict[str, str] | None = None,
        headers: dict[str, str] | None = None,
    ) -> None:
        """One request; a line that breaks is tried once more and counted, a fault is told."""
        for _ in range(2):
            try:
                answer = self.client.request(method, address, json=json, data=data, headers=headers)
            except httpx.TransportError as cut:
                self.cuts += 1
                self.fault(f"cut: {method} {address}: {type(cut).__name__} {cut}")
                continue
            if answer.status_code >= 400:
                self.faults += 1
                self.fault(f"{answer.status_code}: {method} {address}: {answer.text[:300]!r}")
            return


if __name__ == "__main__":
    main()
