"""Aerobe: measure, model, time and compare aerated compost teas, with honest uncertainty.

Rooms are imported only when used: `import aerobe` is cheap, `aerobe.inference` loads when you first touch it. The use cases
are also here by name: `aerobe.open_notebook(...)` is `aerobe.usecases.notebook.open_notebook(...)`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

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
    "practice",
    "notebook",
    "charts",
    "reports",
    "usecases",
    "web",
    "cli",
)

if TYPE_CHECKING:
    from aerobe.usecases.assay import *
    from aerobe.usecases.brews import *
    from aerobe.usecases.evidence import *
    from aerobe.usecases.exchange import *
    from aerobe.usecases.notebook import *
    from aerobe.usecases.oxygen import *
    from aerobe.usecases.practice import *
    from aerobe.usecases.reports import *
    from aerobe.usecases.safety import *
    from aerobe.usecases.trials import *
else:
    import importlib

    def _subjects() -> list[object]:
        usecases = importlib.import_module("aerobe.usecases")  # cheap: its names load their files when used
        return [getattr(usecases, subject) for subject in usecases.__all__]

    def __getattr__(name: str) -> object:
        if name in _ROOMS:
            return importlib.import_module(f"aerobe.{name}")
        if not name.startswith("_"):
            for subject in _subjects():
                if name in subject.__all__:
                    return getattr(subject, name)
        raise AttributeError(f"module 'aerobe' has no attribute '{name}'")

    def __dir__() -> list[str]:
        return sorted([*globals(), *_ROOMS, *(name for subject in _subjects() for name in subject.__all__)])
