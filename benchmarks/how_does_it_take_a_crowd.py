"""How does the app take a crowd? 1,000 brews, a probe that sends 5 values a second, and then everybody at once.

    python -m benchmarks.how_does_it_take_a_crowd [seconds]

Three parts on one `aerobe serve`: the first screen, asked for twice a second by the clock while the probe sends; 200 mixed
requests at one moment; 40 reports at one moment. An answer is a page, or a queue that says so in words (503 with "ask again"):
anything else of 500 and above is a fault. The machine's load and the server's processor time stand beside the times, since they
say what other work on the machine blurs.
"""

from __future__ import annotations

import asyncio
import os
import random
import socket
import subprocess
import sys
import tempfile
import time
from collections import Counter
from datetime import datetime
from pathlib import Path

import httpx
import numpy as np

from aerobe.web import open_state
from aerobe.web._senders import add_sender
from benchmarks.how_quick_is_the_app import fill, processor_s

VALUES_PER_S, SCREENS_PER_S = 5.0, 2.0
MIXED = (
    "/",
    "/record",
    "/brews/b0",
    "/brews/b{}",
    "/brews/b{}/record",
    "/trials",
    "/safety/brews/b0",
    "/shelf",
    "/search?q=b1",
    "/menu",
)
WITHOUT_END = httpx.Timeout(900.0)


async def ask(client: httpx.AsyncClient, path: str) -> tuple[int, float, bool]:
    """Status, time [s], and whether it is an answer that a person can use."""
    began = time.perf_counter()
    answer = await client.get(path)
    queue = answer.status_code == 503 and "ask again" in answer.text
    return answer.status_code, time.perf_counter() - began, answer.status_code < 500 or queue


async def probe(client: httpx.AsyncClient, token: str, told: Counter[int]) -> None:
    """Five values a second, each when its time has come."""
    headers = {"authorization": f"Bearer {token}"}
    while True:
        point = {"channel": "oxygen", "unit": "mg/L", "value": 6.0 + random.random()}
        told[(await client.post("/log/points", json=point, headers=headers)).status_code] += 1
        await asyncio.sleep(1.0 / VALUES_PER_S)


async def screens(base: str, token: str, seconds: float, server: int) -> None:
    """The first screen while values come in."""
    told: Counter[int] = Counter()
    async with httpx.AsyncClient(base_url=base, timeout=WITHOUT_END) as client:
        sending = asyncio.create_task(probe(client, token, told))
        busy, asked = processor_s(server), []
        for _ in range(int(seconds * SCREENS_PER_S)):
            asked.append(asyncio.create_task(ask(client, "/")))
            await asyncio.sleep(1.0 / SCREENS_PER_S)
        found = await asyncio.gather(*asked)
        sending.cancel()
    times = [1000.0 * took for _, took, _ in found]
    busy_ms = 1000.0 * (processor_s(server) - busy) / len(found)
    print(
        f"first screen: {len(found)} asked, p50 {np.percentile(times, 50):.0f} ms, p95 {np.percentile(times, 95):.0f} ms, "
        f"{sum(not good for *_, good in found)} faults; {busy_ms:.0f} ms of processor each, the probe's values with it; "
        f"values {dict(told)}; load {os.getloadavg()[0]:.1f}",
        flush=True,
    )


async def at_once(base: str, name: str, paths: list[str]) -> None:
    """All at one moment."""
    limits = httpx.Limits(max_connections=len(paths))
    async with httpx.AsyncClient(base_url=base, timeout=WITHOUT_END, limits=limits, follow_redirects=True) as client:
        found = await asyncio.gather(*(ask(client, path) for path in paths))
    statuses = Counter(status for status, *_ in found)
    times = sorted(took for _, took, _ in found)
    print(
        f"{name}: {len(found)} at once, {dict(statuses)}, {sum(not good for *_, good in found)} faults, "
        f"half within {times[len(times) // 2]:.1f} s, all within {times[-1]:.1f} s; load {os.getloadavg()[0]:.1f}",
        flush=True,
    )


def main() -> None:
    """Fill a notebook, serve it, and let the crowd in."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 30.0
    now, rng = datetime.now().astimezone(), random.Random(1)
    with tempfile.TemporaryDirectory(prefix="aerobe-crowd-") as folder, socket.socket() as free:
        path = Path(folder) / "tea.notebook"
        fill(path, now)
        (Path(folder) / "tea.notebook.app").mkdir()
        token = add_sender(open_state(Path(folder) / "tea.notebook.app" / "app.json"), name="probe", place="b0", now=now)
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
        free.close()
        words = [sys.executable, "-m", "aerobe", "serve", "--notebook", str(path), "--port", str(port)]
        running, base = subprocess.Popen(words, stdout=subprocess.DEVNULL), f"http://127.0.0.1:{port}"
        try:
            began = time.perf_counter()
            while True:
                try:
                    httpx.get(f"{base}/", timeout=WITHOUT_END)
                    break
                except httpx.TransportError:
                    time.sleep(0.1)
            print(f"first screen of all, from the start of the server: {time.perf_counter() - began:.1f} s", flush=True)
            time.sleep(20.0)  # the calls of the brews under way are worked out
            asyncio.run(screens(base, token, seconds, running.pid))
            mixed = [rng.choice(MIXED).format(rng.randrange(5, 900)) for _ in range(200)]
            asyncio.run(at_once(base, "mixed", mixed))
            asyncio.run(at_once(base, "reports", [f"/reports/brew/b{rng.randrange(5, 900)}.html" for _ in range(40)]))
        finally:
            running.terminate()
            running.wait()


if __name__ == "__main__":
    main()
