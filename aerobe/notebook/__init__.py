"""The notebook: everything typed or measured, kept for good. SQLite file or PostgreSQL server; no formula, no rounding."""

from aerobe.notebook._backup import back_up, copies_of, restore
from aerobe.notebook._check import check, fingerprint, rows_of
from aerobe.notebook._history import BrewHistory, brew_history
from aerobe.notebook._logs import LogEnvelope
from aerobe.notebook._notebook import ORIGIN, Notebook
from aerobe.notebook._opening import open_notebook, open_whole_part
from aerobe.notebook._package import write_package
from aerobe.notebook._pen import Pen
from aerobe.notebook._reads import ORDER_OF_WRITING, TAKEN_BACK, Change, Kept, Receipt
from aerobe.notebook._rescue import Rescued, rescue
from aerobe.notebook._unpack import Unpacked, read_package
from aerobe.notebook._whole_part import rescue_in_place

__all__ = [
    "ORIGIN",
    "ORDER_OF_WRITING",
    "TAKEN_BACK",
    "BrewHistory",
    "Change",
    "Kept",
    "LogEnvelope",
    "Notebook",
    "Pen",
    "Receipt",
    "Rescued",
    "Unpacked",
    "back_up",
    "brew_history",
    "check",
    "copies_of",
    "fingerprint",
    "open_notebook",
    "open_whole_part",
    "read_package",
    "rescue",
    "rescue_in_place",
    "restore",
    "rows_of",
    "write_package",
]
