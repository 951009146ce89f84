"""Writes the notebook of one schema with a little of everything: `python -m tests.frozen.freeze 0002`."""

from __future__ import annotations

import sqlite3
import sys
from datetime import UTC, datetime
from pathlib import Path

from aerobe.notebook._notebook import Notebook
from aerobe.notebook._store import Store
from aerobe.records import AirSupply, Assay, Brew, Compost, Harvest, Reading, Recipe, SensorLog, Vessel

AT = datetime(2026, 11, 25, 8, 0, tzinfo=UTC)


def freeze(path: Path, schema: str) -> None:
    """A new file at this schema."""
    store = Store(str(path))
    store.migrate(schema)
    book = Notebook(store)
    for record in (
        Compost(key="heap", name="Heap"),
        Recipe(key="plain", name="Plain", compost="heap", compost_g_per_l=50.0),
        Vessel(key="barrel", name="Barrel", volume_l=100.0, depth_m=0.8, air=AirSupply(flow_l_per_min=40.0)),
        Assay(key="card", name="Card", method="colour test"),
        Brew(key="b1", name="First", recipe="plain", vessel="barrel", started_at=AT),
        Harvest(brew="b1", elapsed_h=24.0),
    ):
        book.add(record, at=AT)
    for key, signal, replaces in (("r1", 125.0, ""), ("r2", 12.5, "r1"), ("r3", 30.0, "")):
        book.add_reading(
            Reading(
                key=key,
                brew="b1",
                assay="card",
                role="sample",
                elapsed_h=6.0,
                signal=signal,
                unit="ug C/mL",
                typed_as=f"{signal:g}",
                replaces=replaces,
            ),
            at=AT,
            token=f"form-{key}",
        )
    hours = tuple(minute / 60.0 for minute in range(120))
    book.append_log(SensorLog(brew="b1", channel="oxygen", elapsed_h=hours, values=tuple(9.0 - hour for hour in hours)), at=AT)
    book.set_setting("currency", "EUR", at=AT)
    if schema >= "0002":
        book.add_advice("b1", {"call": "wait", "seed": 1, "versions": {"aerobe": "0.1.0"}}, at=AT)
    book.close()
    connection = sqlite3.connect(path)
    connection.execute("pragma journal_mode=delete")  # one file, without companions
    connection.close()


if __name__ == "__main__":
    freeze(Path(__file__).parent / f"schema-{sys.argv[1]}.sqlite", sys.argv[1])
