"""Is a practice brew smooth in the hand? 60 steps by touch on a phone's screen, in a browser, each timed from the tap.

    python -m benchmarks.how_smooth_is_practice [steps]

Hours, tests and controls in turn. For each step: from the tap to the next frame after the page changed. An hour is drawn at
once; a test goes to the server and back, which meanwhile works out what the curtain will ask. Beside it the longest that the page
kept the browser's thread (a long task, 50 ms or more) and the longest gap between two frames. Wall time, so the machine's load is
printed with it. Wanted: no pause over 100 ms.
"""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path

import numpy as np
from playwright.sync_api import Page, sync_playwright

from benchmarks.how_heavy_is_a_page import PHONE, SERVER

WATCH = """() => {
  window.steps = []; window.tasks = []; window.gap = 0;
  let began = 0, last = performance.now();
  const long = (list) => list.getEntries().forEach((one) => window.tasks.push(one.duration));
  new PerformanceObserver(long).observe({ type: 'longtask' });
  const frame = (now) => { window.gap = Math.max(window.gap, now - last); last = now; requestAnimationFrame(frame); };
  requestAnimationFrame(frame);
  addEventListener('click', () => { began = performance.now(); }, true);
  const seen = () => {
    if (!began) return;
    const at = began;
    began = 0;
    requestAnimationFrame(() => window.steps.push(performance.now() - at));
  };
  const all = { childList: true, characterData: true, subtree: true };
  for (const id of ['hour', 'moves']) new MutationObserver(seen).observe(document.getElementById(id), all);
}"""


def serve(folder: Path) -> tuple[subprocess.Popen[bytes], str]:
    """The app in a process of its own, and its address."""
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        port = found.getsockname()[1]
    server = subprocess.Popen([sys.executable, "-c", SERVER, str(folder / "tea.notebook"), str(port)])
    base = f"http://127.0.0.1:{port}"
    for _ in range(600):
        try:
            urllib.request.urlopen(f"{base}/practise", timeout=5).close()
            return server, base
        except OSError:
            time.sleep(0.1)
    server.terminate()
    raise SystemExit("the server did not come")


def play(page: Page, steps: int) -> list[bool]:
    """Steps by touch: mostly hours, each seventh a test or a control until they are used. Which of them were bought."""
    bought, kinds = 0, list[bool]()
    for step in range(steps):
        buys = step % 7 == 6 and bought < 8
        name = ("Killed control" if bought % 4 == 3 else "Test") if buys else "An hour on"
        bought += buys
        kinds.append(buys)
        page.get_by_role("button", name=name).first.tap()
        page.wait_for_function("(count) => window.steps.length >= count", arg=step + 1)
    return kinds


def main() -> None:
    steps = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as driver:
        server, base = serve(Path(folder))
        try:
            browser = driver.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
            page = browser.new_context(viewport=PHONE, has_touch=True, is_mobile=True).new_page()
            page.goto(f"{base}/practise")
            page.get_by_label("With an oxygen probe").check()
            page.get_by_role("button", name="Draw a brew").tap()
            page.wait_for_url("**/practise/practice-*")
            page.evaluate(WATCH)
            kinds = np.array(play(page, steps))
            took, tasks, gap = (page.evaluate(f"window.{name}") for name in ("steps", "tasks", "gap"))
            browser.close()
        finally:
            server.terminate()
            server.wait()
    took = np.array(took[:steps])
    print(f"# load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    for name, some in (("hours, drawn at once", took[~kinds]), ("tests, by the server", took[kinds])):
        spread = f"median {np.median(some):.0f} ms, 95 % {np.quantile(some, 0.95):.0f} ms, longest {some.max():.0f} ms"
        print(f"{name}: {len(some)} steps, {spread}")
    many = f"{len(tasks)} of 50 ms or more"
    print(f"longest task of the page {max(tasks, default=0.0):.0f} ms ({many}), longest gap between frames {gap:.0f} ms")


if __name__ == "__main__":
    main()
