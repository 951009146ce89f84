"""Loads what is not under test once, so that each of the many forked processes need not."""

from __future__ import annotations

import gc
import importlib
import sys

OTHERS = ("hypothesis", "scipy.optimize", "scipy.special", "scipy.stats", "starlette.testclient", "statsmodels.api", "pandas")


def load_others() -> None:
    """Load the packages that tests and rooms use, and none of our own: those are loaded anew, changed."""
    for name in (*OTHERS, "aerobe.cli", "aerobe.web"):
        importlib.import_module(name)
    from hypothesis import settings

    settings.register_profile("night", derandomize=True, database=None, deadline=None)
    settings.load_profile("night")
    for name in [name for name in sys.modules if name.split(".")[0] == "aerobe"]:
        del sys.modules[name]
    gc.collect()
    gc.freeze()  # what is loaded here is looked through for rubbish by none of the processes to come, so that they share it
