"""The compiled functions of the room as they are written, so that nothing is compiled and each line can be followed."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from types import ModuleType

from aerobe.kinetics import _batch, _compiled, _nitrogen


@contextmanager
def as_written(*modules: ModuleType) -> Iterator[None]:
    """While it is entered, the functions of some modules (of the forward model) also call each other as they are written."""
    changed = [
        (module, name, thing)
        for module in modules or (_batch, _compiled, _nitrogen)
        for name, thing in vars(module).items()
        if hasattr(thing, "py_func")
    ]
    for module, name, thing in changed:
        setattr(module, name, thing.py_func)
    try:
        yield
    finally:
        for module, name, thing in changed:
            setattr(module, name, thing)
