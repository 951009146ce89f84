"""Were the same numbers found again?"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

Value = float | str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """A number that came out otherwise, or is missing on one side."""

    name: str
    then: Value
    now: Value


@dataclass(frozen=True, slots=True, kw_only=True)
class Again:
    """The outcome of a re-run."""

    kind: str
    subject: str
    compared: int
    differences: tuple[Difference, ...]
    versions_then: dict[str, str]
    versions_now: dict[str, str]

    @property
    def is_same(self) -> bool:
        """All numbers were found again."""
        return not self.differences and self.compared > 0

    def in_words(self) -> str:
        """One sentence, and why numbers may differ."""
        if self.compared == 0:
            return f"Nothing to compare for {self.kind} {self.subject}."
        if self.is_same:
            return f"{self.kind} {self.subject}: all {self.compared} numbers were found again."
        changed = sorted(name for name in self.versions_now if self.versions_then.get(name) != self.versions_now[name])
        why = " The versions are the same, so data or report were changed."
        if changed:
            why = f" Other versions now: {', '.join(changed)}."
        return f"{self.kind} {self.subject}: {len(self.differences)} of {self.compared} numbers differ.{why}"


def compare(
    kind: str,
    subject: str,
    then: Mapping[str, Value],
    now: Mapping[str, Value],
    *,
    versions_then: Mapping[str, str],
    versions_now: Mapping[str, str],
    relative: float = 1e-4,
) -> Again:
    """Compare the numbers of a report with those of a re-run.

    Parameters
    ----------
    then, now
        Numbers by name; texts must be equal, numbers agree to `relative`.
    relative
        Room for another machine's last digits. [-]
    """
    names = list(dict.fromkeys([*then, *now]))
    apart = tuple(
        Difference(name=name, then=then.get(name), now=now.get(name))
        for name in names
        if name not in then or name not in now or not _same(then[name], now[name], relative)
    )
    return Again(
        kind=kind,
        subject=subject,
        compared=len(names),
        differences=apart,
        versions_then=dict(versions_then),
        versions_now=dict(versions_now),
    )


def _same(then: Value, now: Value, relative: float) -> bool:
    if isinstance(then, (int, float)) and isinstance(now, (int, float)):
        return math.isclose(then, now, rel_tol=relative, abs_tol=1e-9) or (math.isnan(then) and math.isnan(now))
    return then == now
