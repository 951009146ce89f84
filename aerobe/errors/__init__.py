"""Faults a brewer can put right: each says what is wrong and what to do next.

Our own bugs stay ordinary exceptions; they are never dressed up as one of these.
"""

from __future__ import annotations

LONGEST = 1500  # characters of a problem or of a remedy


class AerobeError(Exception):
    """A fault the person can put right: `problem` says what, `remedy` says how."""

    def __init__(self, problem: str, remedy: str) -> None:
        problem, remedy = _readable(problem), _readable(remedy)
        super().__init__(f"{problem} {remedy}")
        self.problem = problem
        self.remedy = remedy

    def at(self, field: str) -> AerobeError | None:
        """What is wrong with one field of a form; None where nothing is said of it."""
        return None

    def __reduce__(self) -> tuple[type[AerobeError], tuple[str, str]]:
        # Exceptions cross process pools; the default would call the class with one argument.
        return type(self), (self.problem, self.remedy)


def _readable(text: str) -> str:
    """A message quotes what was typed: not more than a page of it, and nothing that cannot be shown (half a character)."""
    shown = text.encode("utf-8", errors="replace").decode("utf-8")
    return shown if len(shown) <= LONGEST else f"{shown[:LONGEST]}..."


class NotAQuantity(AerobeError):
    """Text that should be a number with a unit and is not."""


class UnusableForm(AerobeError):
    """Several answers of one form, each with what is wrong with it: all are told at once.

    Parameters
    ----------
    by_field
        Name of the field, its fault, in the order of the form.
    """

    def __init__(self, by_field: tuple[tuple[str, AerobeError], ...]) -> None:
        self.by_field = by_field
        super().__init__(" ".join(fault.problem for _, fault in by_field), " ".join(fault.remedy for _, fault in by_field))

    def at(self, field: str) -> AerobeError | None:
        """What is wrong with this field."""
        return next((fault for name, fault in self.by_field if name == field), None)

    def __reduce__(self) -> tuple[type[AerobeError], tuple[tuple[tuple[str, AerobeError], ...]]]:  # type: ignore[override]
        return type(self), (self.by_field,)


class OutsideValidity(AerobeError):
    """A value outside the range where a formula or table holds."""


class UnusableReading(AerobeError):
    """A reading that cannot mean what its fields say."""


class UnusableRecord(AerobeError):
    """A record (recipe, vessel, brew, trial ...) whose fields contradict each other."""


class NotEnoughData(AerobeError):
    """The calculation asked for cannot be done from so little."""


class NotFound(AerobeError):
    """Something was named that the notebook or a library does not hold."""


class NotebookFault(AerobeError):
    """The notebook file or server cannot be used as it stands."""


class Damaged(NotebookFault):
    """The notebook's file is not as it was written: what is whole can still be read, from a copy."""


class ImportFault(AerobeError):
    """A file that cannot be taken in."""


class NotAllowed(AerobeError):
    """A step that a gate, a pairing or a limit forbids."""
