"""How a subject's door opens: a name is imported from its file when it is first used, so that `aerobe --help` stays quick.

Editors and the type checker read the imports under TYPE_CHECKING; the table beside them says the same at run time.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable, Mapping


def lazy_door(package: str, files: Mapping[str, tuple[str, ...]]) -> tuple[Callable[[str], object], Callable[[], list[str]]]:
    """The `__getattr__` and `__dir__` of a subject: `files` says which names come from which file or other room."""
    file_of = {name: file for file, names in files.items() for name in names}

    def load(name: str) -> object:
        if name in file_of:
            file = file_of[name]
            return getattr(importlib.import_module(f"{package}.{file}" if file.startswith("_") else file), name)
        raise AttributeError(f"module '{package}' has no attribute '{name}'")

    def names() -> list[str]:
        return sorted([*vars(importlib.import_module(package)), *file_of])

    return load, names
