"""The report of an assay: its certificate with everything the study read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from aerobe.charts import FigureTable, Picture
from aerobe.reports._blocks import Block, Facts, Grid, Points, Report, Section, Shown, Warned, Words
from aerobe.reports._brew import health_cautions, known_sources
from aerobe.sources import cite

ASSAY_SOURCES = ("rocke-lorenzato-1995", "iso-5725-2", "iso-5725-3", "currie-1968", "iso-11843-2", "jcgm-100-2008")


def assay_report(
    *,
    name: str,
    method: str,
    unit: str,
    price: float,
    conclusion: str,
    lines: Sequence[tuple[str, str]],
    cannot_tell: Sequence[str],
    readings: FigureTable,
    pictures: Sequence[Picture],
    numbers: Mapping[str, float | str | None],
    made_at: datetime,
    versions: dict[str, str],
    sources: Sequence[str] = (),
    cautions: Sequence[str] = (),
    package: bytes = b"",
    licence: str = "CC-BY-4.0",
    invented: bool = False,
) -> Report:
    """The certificate of an assay as a report.

    Parameters
    ----------
    name, method, unit, price
        Of the test; price in the person's money.
    readings
        All readings of the study.
    conclusion
        The certificate in a sentence or two.
    lines
        Its headings and sentences.
    cannot_tell
        What the study could not show, with the remedy.
    cautions
        Short cautions for people's health.
    pictures, numbers, made_at, versions, sources, package, licence, invented
        As in `brew_report`.
    """
    facts = (("Method", method), ("Unit", unit), ("Price of a test", f"{price:g}"), ("Readings", str(len(readings.rows))))
    first: list[Block] = [Facts(rows=facts), *(Shown(picture=picture) for picture in pictures)]
    missing = tuple(cannot_tell) or ("The study left nothing open that this program knows to ask for.",)
    first.append(Warned(title="What this study cannot tell", items=missing))
    first.append(health_cautions(cautions))
    body = [Points(items=tuple(f"{head}: {words}" for head, words in lines if words != conclusion))]
    return Report(
        title=name,
        kind="assay",
        headline=conclusion,
        first=tuple(first),
        sections=(
            Section(title="What was found", blocks=tuple(body)),
            Section(
                title="How it was handled",
                blocks=(
                    Words(
                        text="Readings below or above the scale are kept as such, never as zero. Outliers are reported and stay "
                        "in the data. Colour is taken off with its own uncertainty."
                    ),
                ),
            ),
            Section(title="All readings", blocks=(Grid(table=readings),)),
        ),
        sources=tuple(cite(*known_sources(*ASSAY_SOURCES, *sources))),
        made_at=made_at,
        versions=versions,
        numbers=dict(numbers),
        package=package,
        package_name="assay-data.zip",
        licence=licence,
        invented=invented,
    )
