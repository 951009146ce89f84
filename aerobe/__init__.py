"""Aerobe: measure, model, time and compare aerated compost teas, with honest uncertainty.

Rooms are imported only when used: `import aerobe` is cheap, `aerobe.inference` loads when you first touch it.
"""

from __future__ import annotations

import importlib
from types import ModuleType

__version__ = "0.1.0"

_ROOMS = (
    "errors", "sources", "units", "records", "assay", "oxygen", "safety", "kinetics", "inference", "decisions", "verdicts",
    "trials", "evidence", "notebook", "charts", "reports", "desk", "web", "cli",
)


def __getattr__(name: str) -> ModuleType:
    if name in _ROOMS:
        return importlib.import_module(f"aerobe.{name}")
    raise AttributeError(f"module 'aerobe' has no attribute '{name}'")


def __dir__() -> list[str]:
    return sorted([*globals(), *_ROOMS])
