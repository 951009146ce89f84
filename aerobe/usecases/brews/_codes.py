"""Blind codes from the side of whoever reads the samples: the code in, nothing about the brew out."""

from __future__ import annotations

from aerobe.errors import NotFound
from aerobe.notebook import Notebook
from aerobe.records import Brew


def codes_to_read(notebook: Notebook) -> list[str]:
    """Codes of brews that were started under one, as `trial:code`, by code: the order of the brews would tell something."""
    return sorted({_named(brew) for brew in notebook.find(Brew) if brew.blind_code})


def brew_of_code(notebook: Notebook, code: str) -> str:
    """Key of the brew behind a code of `codes_to_read`.

    Raises
    ------
    NotFound
        If no brew, or more than one, has this code.
    """
    found = [brew.key for brew in notebook.find(Brew) if brew.blind_code and _named(brew) == code]
    if len(found) != 1:
        raise NotFound(f"There is no sample with the code '{code.split(':')[-1]}'.", "Read the code on the label again.")
    return found[0]


def _named(brew: Brew) -> str:
    return f"{brew.trial}:{brew.blind_code}"
