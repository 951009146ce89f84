"""How quick is the app with a full notebook? 1,000 brews, 1,000,000 log points, 50 mixed reads a second for half a minute.

    python benchmarks/how_quick_is_the_app.py [seconds] [requests a second]

The server runs in a process of its own, as `aerobe serve` would run it, with five brews under way and their calls worked
out beforehand. Requests start by the clock and do not wait for each other (an open loop), so a slow answer is not hidden.
Target: 95 of 100 answers within 150 ms. The load comes from the same machine and takes its share of it.
Two passes: in the first most brews are opened for the first time and their charts are built, in the second they are kept.
The server's own processor time is printed too: it says what the machine's other work cannot blur. So is the memory it
holds, the brew model and five calls among it.
"""

from __future__ import annotations

import asyncio
import os
import platform
import random
import socket
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from datetime import datetime, timedelta
from pathlib import Path

import httpx
import numpy as np

from aerobe import usecases
from aerobe.records import AirSupply, Assay, AssayError, Brew, Compost, Harvest, Reading, Recipe, SensorLog, Vessel

BREWS, POINTS, UNDER_WAY = 1_000, 1_000, 5
SERVER = """
import sys
from datetime import datetime
from pathlib import Path
from aerobe import usecases
from aerobe.web import ServeSettings, create_app
from aerobe.web._serve import make_server
notebook = usecases.notebook.open_notebook(sys.argv[1], at=datetime.now().astimezone())
app = create_app(notebook, settings=ServeSettings(burst=1e6, per_s=1e6))
make_server(app, host="127.0.0.1", port=int(sys.argv[2]), log_level="error").run()
"""


def fill(path: Path, now: datetime) -> None:
    """A notebook as full as promised."""
    rng = np.random.default_rng(1)
    with usecases.notebook.open_notebook(path, at=now) as notebook, notebook.writing() as pen:
        pen.add(Compost(key="c", name="Compost"), at=now)
        pen.add(Recipe(key="r", name="Recipe", compost="c", compost_g_per_l=30.0), at=now)
        pen.add(Vessel(key="v", name="Vessel", volume_l=100, depth_m=0.6, air=AirSupply(flow_l_per_min=30.0)), at=now)
        error = AssayError(constant_sd=3.0, proportional_cv=0.15)
        pen.add(Assay(key="a", name="Colour test", method="colour test", error=error), at=now)
        for number in range(BREWS):
            under_way = number < UNDER_WAY
            began = now - timedelta(hours=12 if under_way else 48 + 12 * number)
            key = f"b{number}"
            pen.add(Brew(key=key, name=f"Brew {number}", recipe="r", vessel="v", started_at=began), at=now)
            for place, hour in enumerate((2.0, 5.0, 8.0, 11.0)):
                pen.add(
                    Reading(
                        key=f"{key}-{place}",
                        brew=key,
                        assay="a",
                        role="sample",
                        elapsed_h=hour,
                        unit="ug C/mL",
                        signal=20.0 + 8 * hour + rng.normal(0, 3),
                        typed_as="",
                    ),
                    at=now,
                )
            hours = np.linspace(0, 12 if under_way else 24, POINTS)
            oxygen = 8.5 - 2.5 * np.exp(-(((hours - 14) / 5) ** 2)) + rng.normal(0, 0.05, POINTS)
            pen.append_log(SensorLog(brew=key, channel="oxygen", elapsed_h=tuple(hours), values=tuple(oxygen)), at=now)
            if not under_way:
                pen.add(Harvest(brew=key, elapsed_h=24.0), at=now)


def paths(rng: random.Random) -> str:
    """One read of the mix: first screen, brews, forms, living parts, data."""
    draw, brew, live = rng.random(), rng.randrange(BREWS), rng.randrange(UNDER_WAY)
    if draw < 0.30:
        return "/"
    if draw < 0.65:
        return f"/brews/b{brew}"
    if draw < 0.80:
        return f"/parts/brews/b{live}/card"
    if draw < 0.88:
        return f"/brews/b{live}/record"
    if draw < 0.93:
        return "/reminders"
    return "/static/app.css" if draw < 0.97 else "/brews/new"


async def load(base: str, seconds: float, per_s: float) -> tuple[dict[str, list[float]], int]:
    """Requests by the clock; times in milliseconds by kind of page, and how many failed."""
    rng, times, failed = random.Random(2), defaultdict(list), 0
    limits = httpx.Limits(max_connections=200)

    async with httpx.AsyncClient(base_url=base, timeout=30, limits=limits) as client:

        async def one(path: str) -> None:
            nonlocal failed
            begun = time.perf_counter()
            try:
                failed += (await client.get(path)).status_code != 200
            except httpx.TransportError:
                failed += 1
            kind = "/brews/<key>" if path.startswith("/brews/b") and not path.endswith("record") else path.split("/b")[0] or path
            times[kind].append(1000 * (time.perf_counter() - begun))

        begun, running = time.perf_counter(), []
        for number in range(int(seconds * per_s)):
            await asyncio.sleep(max(0.0, begun + number / per_s - time.perf_counter()))
            running.append(asyncio.create_task(one(paths(rng))))
        await asyncio.gather(*running)
    return times, failed


def main() -> None:
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 30.0
    per_s = float(sys.argv[2]) if len(sys.argv) > 2 else 50.0
    with tempfile.TemporaryDirectory() as folder, socket.socket() as probe:
        path = Path(folder) / "full.notebook"
        begun = time.perf_counter()
        fill(path, datetime.now().astimezone())
        print(f"filled in {time.perf_counter() - begun:.1f} s, {path.stat().st_size / 1e6:.0f} MB")
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
        probe.close()
        server = subprocess.Popen([sys.executable, "-c", SERVER, str(path), str(port)])
        base = f"http://127.0.0.1:{port}"
        try:
            wait_until_calls_are_there(base)
            commit = subprocess.run(["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True).stdout.strip()
            print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}, {commit}")
            print(f"idle, the calls worked out: server holds {memory_mb(server.pid):.0f} MB; target under 700 MB")
            for name in ("first pass", "second pass"):
                busy = processor_s(server.pid)
                times, failed = asyncio.run(load(base, seconds, per_s))
                print_pass(name, times, failed, processor_s(server.pid) - busy)
                print(f"  server holds {memory_mb(server.pid):.0f} MB")
        finally:
            server.terminate()
            server.wait(60)


def processor_s(pid: int) -> float:
    """Processor time of a process so far [s]; nan where the system does not say."""
    try:
        parts = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    except OSError:
        return float("nan")
    return (int(parts[11]) + int(parts[12])) / os.sysconf("SC_CLK_TCK")


def memory_mb(pid: int) -> float:
    """Resident memory of a process [MB]; nan where the system does not say."""
    try:
        return int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6
    except OSError:
        return float("nan")


def print_pass(name: str, times: dict[str, list[float]], failed: int, busy_s: float) -> None:
    every = np.array([item for kind in times.values() for item in kind])
    print(
        f"{name}: {len(every)} requests, {failed} failed, machine load {os.getloadavg()[0]:.1f}, "
        f"server {1000 * busy_s / len(every):.1f} ms of processor a request"
    )
    for kind, found in sorted(times.items()):
        print(f"  {kind:22} n {len(found):5}  median {np.median(found):6.1f} ms  95 % {np.quantile(found, 0.95):6.1f} ms")
    low, high, most = np.quantile(every, [0.5, 0.95, 0.99])
    verdict = "met" if high < 150 and not failed else "MISSED"
    print(f"  all: median {low:.1f} ms, 95 % {high:.1f} ms, 99 % {most:.1f} ms; target {verdict}")


def wait_until_calls_are_there(base: str) -> None:
    """Until the server answers and no call is being worked out any more."""
    for _ in range(300):
        try:
            text = httpx.get(base + "/", timeout=30).text
        except httpx.TransportError:
            text = "Working out"
        if "Working out" not in text:
            return
        time.sleep(1)
    raise SystemExit("the calls did not come")


if __name__ == "__main__":
    main()
