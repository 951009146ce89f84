"""How soon does the command answer with its help?

    python -m benchmarks.how_soon_is_help [--times 15]

`aerobe --help` and `aerobe call --help` beside a Python that does nothing, each a process of its own. Target: 0.25 s.
"""

from __future__ import annotations

import argparse
import os
import platform
import subprocess
import sys
import time

import numpy as np


def seconds(words: list[str]) -> float:
    """Of one run."""
    began = time.perf_counter()
    subprocess.run([sys.executable, *words], stdout=subprocess.DEVNULL, check=True)
    return time.perf_counter() - began


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--times", type=int, default=15)
    times = parser.parse_args().times
    print(f"{platform.machine()}, Python {platform.python_version()}, load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    ways = {
        "python": ["-c", "pass"],
        "aerobe --help": ["-m", "aerobe", "--help"],
        "aerobe call --help": ["-m", "aerobe", "call", "--help"],
    }
    # In turns, so that what else the machine does falls on all alike; the first turn fills the caches.
    found = np.array([[seconds(words) for words in ways.values()] for _ in range(times + 1)])[1:]
    bare = float(np.median(found[:, 0]))
    for place, name in enumerate(ways):
        middle, worst = float(np.median(found[:, place])), float(found[:, place].max())
        print(f"{name:20s} median {middle:.3f} s, worst of {times} {worst:.3f} s, {middle / bare:.1f} times a bare start")


if __name__ == "__main__":
    main()
