"""Whether the start of a brew is known, or was assumed when a table without a clock was taken in."""

from __future__ import annotations

from datetime import datetime

from aerobe.notebook import Notebook
from aerobe.records import Brew

TAKEN_IN = "taken in"  # of kept results: which table a brew came from
ASSUMED = "assumed at import"


def assumed_start(notebook: Notebook, brew: Brew) -> str:
    """How the start of a brew was assumed; empty where it is known, or was mended since."""
    for item in notebook.kept(TAKEN_IN, brew.key):
        began = item.payload.get("start")
        if began and datetime.fromisoformat(began["at"]) == brew.started_at:
            return str(began["is"])
    return ""
