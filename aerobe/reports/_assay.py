"""The report of an assay: its certificate with everything the study read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from aerobe.charts import FigureTable, Picture
from aerobe.reports._blocks import Block, Facts, Grid, PointList, Report, Section, Shown, Warned, Words
from aerobe.reports._brew import known_sources
from aerobe.reports._imprint import Imprint, health_cautions
from aerobe.sources import cite

ASSAY_SOURCES = ("rocke-lorenzato-1995", "iso-5725-2", "iso-5725-3", "currie-1968", "iso-11843-2", "jcgm-100-2008")


@dataclass(frozen=True, slots=True, kw_only=True)
class AssayStudy:
    """A test, its study and what was found."""

    name: str
    method: str
    unit: str
    price: float  # of a test [money]
    conclusion: str  # the certificate in a sentence or two
    lines: Sequence[tuple[str, str]]  # its headings and sentences
    cannot_tell: Sequence[str]  # what the study could not show, with the remedy
    readings: FigureTable  # all readings of the study


def assay_report(
    found: AssayStudy,
    imprint: Imprint,
    *,
    pictures: Sequence[Picture],
    numbers: Mapping[str, float | str | None],
    sources: Sequence[str] = (),
) -> Report:
    """The certificate of an assay as a report.

    Parameters
    ----------
    found
        The test and its study.
    imprint
        As in `brew_report`.
    pictures
        For the first page.
    numbers
        That a re-run must find again.
    sources
        Keys beside those of every assay.
    """
    facts = (
        ("Method", found.method),
        ("Unit", found.unit),
        ("Price of a test", f"{found.price:g}"),
        ("Readings", str(len(found.readings.rows))),
    )
    first: list[Block] = [Facts(rows=facts), *(Shown(picture=picture) for picture in pictures)]
    missing = tuple(found.cannot_tell) or ("The study left nothing open that this program knows to ask for.",)
    first.append(Warned(title="What this study cannot tell", items=missing))
    first.append(health_cautions(imprint.cautions))
    body = [PointList(items=tuple(f"{head}: {words}" for head, words in found.lines if words != found.conclusion))]
    return Report(
        title=found.name,
        kind="assay",
        headline=found.conclusion,
        sure=f"{len(found.readings.rows)} readings of one test.",
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
            Section(title="All readings", blocks=(Grid(table=found.readings),)),
        ),
        sources=tuple(cite(*known_sources(*ASSAY_SOURCES, *sources))),
        made_at=imprint.made_at,
        versions=imprint.versions,
        numbers=dict(numbers),
        package_name="assay-data.zip",
        invented=imprint.invented,
    )
