"""Answers of a form, read one by one: a fault of one does not hide those of the others."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from aerobe.errors import AerobeError, UnusableForm

T = TypeVar("T")


class Answers:
    """Collects what is wrong with a form. `read` each field, then `settle` before anything is written."""

    def __init__(self) -> None:
        self.faults: list[tuple[str, AerobeError]] = []

    def read(self, field: str, what: str, how: Callable[[], T], *, instead: T) -> T:
        """What `how` reads, or `instead` after noting its fault under the name of the field.

        Parameters
        ----------
        field
            Name of the field in the form.
        what
            What the person knows it by.
        """
        try:
            return how()
        except AerobeError as fault:
            self.faults.append((field, type(fault)(f"{what}: {fault.problem}", fault.remedy)))
            return instead

    def settle(self) -> None:
        """Stop here if anything was wrong.

        Raises
        ------
        UnusableForm
            With every fault at its field.
        """
        if self.faults:
            raise UnusableForm(tuple(self.faults))
