"""What a report is made of: a few kinds of blocks that HTML and PDF both know. Nothing here computes."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from aerobe.charts import FigureTable, Picture
from aerobe.errors import UnusableRecord
from aerobe.units import DisplayUnits


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """A paragraph."""

    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PointList:
    """A list."""

    items: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """Short named values."""

    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """A table."""

    table: FigureTable


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """A picture, its sentence and, if `with_figures`, its numbers."""

    picture: Picture
    with_figures: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Warned:
    """A limit of what was found, or a caution for people's health. It stands out."""

    title: str
    items: tuple[str, ...]


Block = Words | PointList | Facts | Grid | Shown | Warned


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A heading and what stands under it."""

    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """A report, ready to be drawn as HTML or PDF. The same report gives the same bytes on any day and machine.

    Parameters
    ----------
    title, kind
        What it is about; "brew", "assay" or "trial".
    headline
        The answer in one or two sentences.
    in_passing
        The answer for who reads it in passing, never more than the headline; the headline itself where empty.
    sure
        How sure, in a few words: brews or readings, interval.
    basis
        What the answer rests on, said right under it; empty where the title says it.
    first
        The first page or two, for the reader in a hurry.
    sections
        Methods, raw data, limits.
    sources
        Reference lines of the methods used.
    made_at
        The moment the report speaks of; its only clock.
    versions, seed
        What computed the numbers.
    numbers
        The numbers that a re-run must find again.
    package, package_name
        The data package to attach, or nothing.
    licence
        Under which the data may be used, as an SPDX name.
    from_tables
        Whether data came in from a table, so that a licence may not be the person's to give.
    invented
        Whether the data are invented; said at the top of every page.
    units
        What its reader reads in, wherever it is drawn; house units if None.
    """

    title: str
    kind: str
    headline: str
    first: tuple[Block, ...]
    sections: tuple[Section, ...]
    sources: tuple[str, ...]
    made_at: datetime
    versions: dict[str, str]
    seed: int | None = None
    numbers: dict[str, float | str | None] = field(default_factory=dict)
    package: bytes = b""
    beside: dict[str, bytes] = field(default_factory=dict)  # further files of the package, by path
    package_name: str = "data-package.zip"
    licence: str = "CC-BY-4.0"
    basis: str = ""
    from_tables: bool = False
    invented: bool = False
    in_passing: str = ""
    sure: str = ""
    units: DisplayUnits | None = None

    def __post_init__(self) -> None:
        if self.made_at.tzinfo is None:
            raise UnusableRecord(
                "The time of the report has no time zone.", "Give the offset, for example 2026-05-01T08:00+02:00."
            )
        if not self.title.strip() or not self.headline.strip():
            raise UnusableRecord("A report needs a title and an answer.", "Give the brew, assay or trial a name.")
