"""What a report says of data that came in from a table: which table, and that a licence needs somebody who may give it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from aerobe.reports._blocks import Warned

TERMS = (
    "A licence is only yours to give if the data are yours. If others made this table, their terms hold: name them, and "
    "ask them before you publish it."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class FromTable:
    """A table that brews of a report were taken in from."""

    file: str  # its name; "" where it was not kept
    sha256: str  # of the file's bytes
    taken_in: str  # day, ISO 8601
    brews: int  # brews of the report that rest on it [-]
    times: int = 1  # versions of it that were taken in [-]

    @property
    def words(self) -> str:
        """One line: name, day and fingerprint."""
        count = f"{self.brews} brew{'' if self.brews == 1 else 's'}"
        if not self.file:
            return f"Readings of {count} came in from a table whose name was not kept."
        again = f" in {self.times} versions, the last" if self.times > 1 else ""
        return f"Data of {count} came from the table {self.file}, taken in{again} on {self.taken_in}; SHA-256 {self.sha256}."


def origin_block(tables: Sequence[FromTable]) -> tuple[Warned, ...]:
    """What stands out on the first pages; nothing where all data were entered by hand."""
    if not tables:
        return ()
    return (Warned(title="Data taken in from a table", items=(*(table.words for table in tables), TERMS)),)


def described_origin(tables: Sequence[FromTable]) -> dict[str, object]:
    """The same for `datapackage.json`: `sources` is the standard's own word for it.

    Source
    ------
    frictionless-data-package
    """
    if not tables:
        return {}
    titles = [f"{table.file} (SHA-256 {table.sha256})" if table.file else "a table, name not kept" for table in tables]
    says = " ".join([*(table.words for table in tables), TERMS])
    return {"description": says, "sources": [{"title": title} for title in titles]}
