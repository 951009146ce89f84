"""Aerobe: measure, model, time and compare aerated compost teas, with honest uncertainty.

Rooms are imported only when used: `import aerobe` is cheap, `aerobe.inference` loads when you first touch it. The use cases
of the desk are also here by name: `aerobe.open_notebook(...)`, `aerobe.add_reading(...)`.
"""

from __future__ import annotations

import importlib
from typing import Any

__version__ = "0.1.0"

_ROOMS = (
    "errors",
    "sources",
    "units",
    "records",
    "assay",
    "oxygen",
    "safety",
    "kinetics",
    "inference",
    "decisions",
    "verdicts",
    "trials",
    "evidence",
    "notebook",
    "charts",
    "reports",
    "desk",
    "web",
    "cli",
)


def __getattr__(name: str) -> Any:
    if name in _ROOMS:
        return importlib.import_module(f"aerobe.{name}")
    desk = importlib.import_module("aerobe.desk")  # cheap: the desk's own names load their files when used
    if name in desk.__all__:
        return getattr(desk, name)
    raise AttributeError(f"module 'aerobe' has no attribute '{name}'")


def __dir__() -> list[str]:
    return sorted([*globals(), *_ROOMS, *importlib.import_module("aerobe.desk").__all__])
