"""One function for each thing a person wants done: the only room that holds notebook and science together.

The door is lazy: a name is imported from its file when it is first used, so that `aerobe --help` stays quick.
Add a name by one line in `_WHERE`, and the same name under `TYPE_CHECKING` if editors should know it.
"""

from __future__ import annotations

import importlib
from typing import Any

# name -> file behind the door; keep each subject's lines together.
_WHERE: dict[str, str] = {
    # records and the notebook (_records, _intake, _packages, _demo)
    "ReadingEntry": "_records",
    "add_reading": "_records",
    "brew_history": "_records",
    "correct_reading": "_records",
    "list_brews": "_records",
    "new_brew": "_records",
    "new_key": "_records",
    "notebook_summary": "_records",
    "open_notebook": "_records",
}

__all__ = sorted(_WHERE)


def __getattr__(name: str) -> Any:
    if name in _WHERE:
        return getattr(importlib.import_module(f"aerobe.desk.{_WHERE[name]}"), name)
    raise AttributeError(f"module 'aerobe.desk' has no attribute '{name}'")


def __dir__() -> list[str]:
    return sorted([*globals(), *_WHERE])
