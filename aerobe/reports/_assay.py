"""The report of an assay: its certificate with everything the study read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from aerobe.charts import Picture
from aerobe.records import Assay, Reading
from aerobe.reports._blocks import Block, Facts, Points, Report, Section, Shown, Warned, Words
from aerobe.reports._brew import known_sources
from aerobe.reports._tables import readings_table
from aerobe.sources import cite

ASSAY_SOURCES = ("rocke-lorenzato-1995", "iso-5725-2", "iso-5725-3", "currie-1968", "iso-11843-2", "jcgm-100-2008")


def assay_report(
    *, assay: Assay, conclusion: str, lines: Sequence[tuple[str, str]], cannot_tell: Sequence[str], readings: Sequence[Reading],
    pictures: Sequence[Picture], numbers: Mapping[str, float | str | None], made_at: datetime, versions: dict[str, str],
    sources: Sequence[str] = (), package: bytes = b"", licence: str = "CC-BY-4.0", invented: bool = False,
) -> Report:
    """The certificate of an assay as a report.

    Parameters
    ----------
    assay, readings
        The record and all readings of the study, corrected ones too.
    conclusion
        The certificate in a sentence or two.
    lines
        Its headings and sentences.
    cannot_tell
        What the study could not show, with the remedy.
    pictures, numbers, made_at, versions, sources, package, licence, invented
        As in `brew_report`.
    """
    facts = (("Method", assay.method), ("Measures", f"{assay.quantity}, {assay.basis}"), ("Unit", assay.unit),
             ("One unit in house units", f"{assay.to_house:g}"), ("Price of a test", f"{assay.price:g}"))
    first: list[Block] = [Facts(rows=facts), *(Shown(picture=picture) for picture in pictures)]
    missing = tuple(cannot_tell) or ("The study left nothing open that this program knows to ask for.",)
    first.append(Warned(title="What this study cannot tell", items=missing))
    body = [Points(items=tuple(f"{head}: {words}" for head, words in lines if words != conclusion))]
    return Report(
        title=assay.name, kind="assay", headline=conclusion, first=tuple(first),
        sections=(
            Section(title="What was found", blocks=tuple(body)),
            Section(title="How it was handled", blocks=(Words(
                text="Readings below or above the scale are kept as such, never as zero. Outliers are reported and stay in the "
                     "data. Colour is taken off with its own uncertainty."),)),
            Section(title="All readings", blocks=(readings_table(readings, {assay.key: assay}, with_brew=False),)),
        ),
        sources=tuple(cite(*known_sources(*ASSAY_SOURCES, *sources))), made_at=made_at, versions=versions, numbers=dict(numbers),
        package=package, package_name=f"{assay.key}-data.zip", licence=licence, invented=invented)
