"""How heavy is each page, and how soon is it seen? Bytes sent and first paint of every page of the invented yard, cold and warm.

    python benchmarks/how_heavy_is_a_page.py [times] [folder for pictures]

The server runs in a process of its own, as `aerobe serve` would run it. Each page is opened by a browser that has never been
there (cold) and once more by the same browser (warm), on a phone's screen, without the app's own store in between. With a
folder, pictures of every page are put there, 390 and 1280 px wide, light and dark, and one sheet of each of the four, which the
guide keeps.
Target: under 200 kB sent and 95 of 100 first paints within 300 ms, pages with charts too. Paint depends on the machine and on
what else runs there: the load is printed with the table.
"""

from __future__ import annotations

import os
import platform
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from base64 import b64encode
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from aerobe import usecases
from aerobe.records import Brew

SERVER = """
import sys
from datetime import datetime
from aerobe import usecases
from aerobe.records import Brew
from aerobe.web import ServeSettings, create_app
from aerobe.web._serve import make_server
notebook = usecases.notebook.open_notebook(sys.argv[1], at=datetime.now().astimezone())
app = create_app(notebook, settings=ServeSettings(burst=1e6, per_s=1e6))
make_server(app, host="127.0.0.1", port=int(sys.argv[2]), log_level="error").run()
"""
PHONE, DESK = {"width": 390, "height": 844}, {"width": 1280, "height": 900}
PLAIN = (
    "/",
    "/brews/new",
    "/record",
    "/shelf",
    "/trials",
    "/trials/new",
    "/assay",
    "/assay/tests",
    "/assay/count",
    "/assay/compare",
    "/oxygen",
    "/oxygen/measure",
    "/oxygen/size",
    "/oxygen/probe",
    "/oxygen/foods",
    "/safety",
    "/reports",
    "/evidence",
    "/practise",
    "/reminders",
    "/data",
    "/settings",
    "/menu",
)
PAINTED = "performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? -1"


@contextmanager
def yard() -> Iterator[tuple[str, list[str]]]:
    """The invented yard behind a server: its address, and the pages to look at."""
    with tempfile.TemporaryDirectory() as folder:
        path, now = Path(folder) / "yard.notebook", datetime.now().astimezone()
        with usecases.notebook.open_notebook(path, at=now) as notebook:
            brew = usecases.notebook.make_demo(notebook, now=now)
            running, *_, over = (key for key, _ in usecases.brews.trial_names(notebook))
            verdict = usecases.trials.verdict_of_trial(notebook, over, now=now)
            usecases.trials.keep_verdict(notebook, over, verdict, now=now)
            recipe = notebook.get(Brew, brew).recipe
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        serving = subprocess.Popen([sys.executable, "-c", SERVER, str(path), str(port)])
        base = f"http://localhost:{port}"
        ours = [
            f"/brews/{brew}",
            f"/brews/{brew}/record",
            f"/brews/{brew}/wall",
            f"/courses?brew={brew}&recipe={recipe}",
            f"/brews/{brew}/harvest",
            f"/oxygen/brews/{brew}",
            f"/safety/brews/{brew}",
            f"/trials/{running}",
            f"/trials/{over}/verdict",
            f"/reports/trial/{over}",
        ]
        try:
            _settled(base, brew)
            yield base, [*PLAIN, *ours]
        finally:
            serving.terminate()
            serving.wait(20)


def _settled(base: str, brew: str) -> None:
    """Wait until the server answers and the call of the brew is worked out."""
    for _ in range(600):
        try:
            with urllib.request.urlopen(f"{base}/brews/{brew}", timeout=30) as answer:
                text = answer.read().decode()
                if 'class="plot' in text and "Working out the call" not in text:
                    return
        except OSError:
            pass
        time.sleep(0.5)
    raise SystemExit("the call of the invented brew was never ready")


def opened(context: Any, address: str) -> tuple[int, float]:
    """Bytes that came over the line for one page, and its first paint [ms]."""
    page = context.new_page()
    session = context.new_cdp_session(page)
    session.send("Network.enable")
    sizes: list[int] = []
    session.on("Network.loadingFinished", lambda told: sizes.append(int(told["encodedDataLength"])))
    page.goto(address)
    page.wait_for_timeout(250)  # what loads behind the page belongs to its weight
    painted = float(page.evaluate(PAINTED))
    page.close()
    return sum(sizes), painted


def measured(browser: Any, base: str, path: str, times: int) -> dict[str, list[tuple[int, float]]]:
    """Cold and warm visits of one page. The app's own store would answer warm ones alone, so it is left out."""
    found: dict[str, list[tuple[int, float]]] = {"cold": [], "warm": []}
    for _ in range(times):
        context = browser.new_context(viewport=PHONE, has_touch=True, is_mobile=True, service_workers="block")
        found["cold"].append(opened(context, base + path))
        found["warm"].append(opened(context, base + path))
        context.close()
    return found


def pictures(browser: Any, base: str, paths: list[str], folder: Path) -> None:
    """Every page as a picture, on a phone and on a desk, light and dark."""
    folder.mkdir(parents=True, exist_ok=True)
    for size in (PHONE, DESK):
        for look in ("light", "dark"):
            context = browser.new_context(viewport=size, color_scheme=look, locale="en-GB", service_workers="block")
            page = context.new_page()
            for path in paths:
                page.goto(base + path)
                page.wait_for_timeout(250)
                name = path.partition("?")[0].strip("/").replace("/", "-") or "home"
                page.screenshot(path=folder / f"{name}-{size['width']}-{look}.png")
            context.close()
            sheet(browser, folder, f"{size['width']}-{look}", wide_px=180 if size is PHONE else 380)


def sheet(browser: Any, folder: Path, of: str, *, wide_px: int) -> None:
    """All pictures of one width and look on one sheet, each so wide [px]."""
    found = sorted(path for path in folder.glob(f"*-{of}.png"))
    shown = "".join(
        f'<img width="{wide_px}" src="data:image/png;base64,{b64encode(path.read_bytes()).decode()}">' for path in found
    )
    page = browser.new_page(viewport={"width": 1600, "height": 900})
    page.set_content(f'<body style="margin:8px;display:flex;flex-wrap:wrap;gap:8px;background:#888">{shown}</body>')
    page.screenshot(path=folder / f"pages-{of}.jpg", type="jpeg", quality=60, full_page=True)
    page.close()


def main() -> None:
    """Measure, and print the table."""
    from playwright.sync_api import sync_playwright

    times = int(sys.argv[1]) if len(sys.argv) > 1 else 5
    with yard() as (base, paths), sync_playwright() as play:
        browser = play.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--headless", "--no-sandbox", "--disable-gpu"]
        )
        paints: list[float] = []
        machine = platform.processor() or platform.machine()
        print(f"{machine}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}, {times} visits each")
        print(f"{'page':44}{'cold kB':>9}{'paint ms':>10}{'warm kB':>9}{'paint ms':>10}")
        for path in paths if times else ():
            found = measured(browser, base, path, times)
            row = [f"{path:44}"]
            for visits in found.values():
                row.append(
                    f"{np.median([size for size, _ in visits]) / 1000:9.0f}{np.median([paint for _, paint in visits]):10.0f}"
                )
                paints += [paint for _, paint in visits]
            print("".join(row), flush=True)
        if paints:
            print(f"first paint: middle {np.median(paints):.0f} ms, 95 of 100 within {np.quantile(paints, 0.95):.0f} ms")
        if len(sys.argv) > 2:
            pictures(browser, base, paths, Path(sys.argv[2]))
        browser.close()


if __name__ == "__main__":
    main()
