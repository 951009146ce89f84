"""How long a log of a gigabyte takes, thinned to a minute, and how much memory: our reader beside polars' own read.

    .aerobe/env/bin/python benchmarks/how_long_is_a_long_file.py [MEGABYTES]

The log is made up: 1 Hz, clock, oxygen, temperature, pH and conductivity. Each reader runs in a process of its own. polars is
asked for the same: number, lowest, highest and mean in each minute of each channel, with its streaming engine; it is in the extra
`bench`.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

OURS = """
import resource, sys, time
from aerobe.tables import head_of, read_long_log, read_table
begun = time.perf_counter()
with open(sys.argv[1], "rb") as stream:
    found = read_long_log(stream, read_table(head_of(stream), "log.csv", {"zone": "UTC"}))
logs = {log.channel: (int(log.count.sum()), float(log.low.min())) for log in found.logs}
print(f"{time.perf_counter() - begun:.1f} s, {time.process_time():.1f} s of processor, "
      f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000:.0f} MB, {found.rows} rows, oxygen {logs['oxygen']}")
"""
POLARS = """
import resource, sys, time
import polars as pl
begun = time.perf_counter()
by = pl.scan_csv(sys.argv[1], try_parse_dates=True).group_by(pl.col("timestamp").dt.truncate("1m"))
names = ["DO_mg_per_L", "Temp_degC", "pH", "EC_uS_per_cm"]
parts = [getattr(pl.col(name), do)().alias(f"{name} {do}") for name in names for do in ("count", "min", "max", "mean")]
found = by.agg(parts).collect(engine="streaming")
print(f"{time.perf_counter() - begun:.1f} s, {time.process_time():.1f} s of processor, "
      f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000:.0f} MB, "
      f"oxygen ({found['DO_mg_per_L count'].sum()}, {found['DO_mg_per_L min'].min()})")
"""


def make(path: Path, megabytes: float) -> None:
    """A log of about so many megabytes."""
    rng, step, start = np.random.default_rng(1), 200_000, np.datetime64("2026-03-01T00:00:00")
    with path.open("w", encoding="ascii") as stream:
        stream.write("timestamp,DO_mg_per_L,Temp_degC,pH,EC_uS_per_cm\n")
        first = 0
        while path.stat().st_size < megabytes * 1e6:
            at = np.arange(first, first + step)
            clocks = np.char.replace(np.datetime_as_string(start + at.astype("timedelta64[s]"), unit="s"), "T", " ")
            oxygen = 8.0 + np.sin(at / 7000.0) + rng.normal(0.0, 0.05, step)
            rest = rng.normal([20.0, 6.8, 500.0], [0.02, 0.01, 2.0], (step, 3))
            rows = zip(clocks, oxygen, *rest.T, strict=True)
            stream.writelines(f"{clock},{o:.3f},{t:.2f},{p:.2f},{c:.1f}\n" for clock, o, t, p, c in rows)
            stream.flush()
            first += step


def main() -> None:
    """Make the log, and let each reader tell what it took."""
    megabytes = float(sys.argv[1]) if len(sys.argv) > 1 else 1000.0
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        make(path, megabytes)
        print(f"{path.stat().st_size / 1e6:.0f} MB")
        for name, script in (("compiled once", OURS), ("aerobe", OURS), ("polars", POLARS)):
            done = subprocess.run([sys.executable, "-c", script, str(path)], capture_output=True, text=True, check=False)
            print(f"{name}: {done.stdout.strip() or done.stderr.strip().splitlines()[-1]}", flush=True)


if __name__ == "__main__":
    main()
