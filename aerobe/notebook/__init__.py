"""The notebook: everything typed or measured, kept for good. SQLite file or PostgreSQL server; no formula, no rounding."""

from aerobe.notebook._backup import back_up, copies_of, restore
from aerobe.notebook._history import BrewHistory, brew_history
from aerobe.notebook._logs import LogEnvelope
from aerobe.notebook._notebook import Change, Kept, Notebook, Pen, Receipt, open_notebook

__all__ = [
    "BrewHistory", "Change", "Kept", "LogEnvelope", "Notebook", "Pen", "Receipt", "back_up", "brew_history", "copies_of",
    "open_notebook", "restore",
]
