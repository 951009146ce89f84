"""How long does a log of a value a second for 72 h on four channels take to keep and to read back short?

Run: python benchmarks/how_long_is_a_long_log.py
The same points as one row each are written beside it, so that the ratio stands in one run.
"""

from __future__ import annotations

import platform
import sqlite3
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from aerobe.notebook import open_notebook
from aerobe.records import CHANNELS, AirSupply, Brew, Compost, Recipe, SensorLog, Vessel

AT = datetime(2026, 5, 1, tzinfo=UTC)


def main() -> None:
    """Print seconds and ratios."""
    hours = np.arange(72 * 3600) / 3600.0
    logs = [
        SensorLog(brew="b", channel=channel, elapsed_h=tuple(hours.tolist()), values=tuple(np.sin(hours + place).tolist()))
        for place, channel in enumerate(CHANNELS)
    ]
    print(platform.platform(), platform.processor(), f"Python {platform.python_version()}")
    with tempfile.TemporaryDirectory() as folder, open_notebook(Path(folder) / "tea.notebook", at=AT) as book:
        for record in (
            Compost(key="c", name="c"),
            Recipe(key="r", name="r", compost="c", compost_g_per_l=1.0),
            Vessel(key="v", name="v", volume_l=1.0, depth_m=0.1, air=AirSupply(flow_l_per_min=1.0)),
            Brew(key="b", name="b", recipe="r", vessel="v", started_at=AT),
        ):
            book.add(record, at=AT)
        keep = timed("keep four logs in chunks", lambda: [book.append_log(log, at=AT) for log in logs])
        timed("read back as 600 buckets", lambda: [book.log_envelope("b", channel) for channel in CHANNELS])
        timed("read back every point", lambda: [book.log("b", channel) for channel in CHANNELS])
        rows = timed("keep as a row each", lambda: as_rows(Path(folder) / "rows.db", logs))
        print(f"rows over chunks: {rows / keep:.1f}")


def as_rows(path: Path, logs: list[SensorLog]) -> None:
    """One row a point, by the driver's own bulk insert."""
    with sqlite3.connect(path) as connection:
        connection.execute("create table points (brew text, channel text, h real, value real)")
        for log in logs:
            connection.executemany(
                "insert into points values (?,?,?,?)",
                ((log.brew, log.channel, h, v) for h, v in zip(log.elapsed_h, log.values, strict=True)),
            )


def timed(what: str, act) -> float:
    """Seconds of one run, printed."""
    began = time.perf_counter()
    act()
    seconds = time.perf_counter() - began
    print(f"{what}: {seconds:.3f} s")
    return seconds


if __name__ == "__main__":
    main()
