"""A report in display units: every text, table and chart. The numbers that a re-run must find stay as the data have them."""

from __future__ import annotations

from dataclasses import replace

from aerobe.charts import Poster
from aerobe.reports._blocks import Block, Facts, Grid, PointList, Report, Shown, Warned, Words
from aerobe.units import DisplayUnits, shown_text


def in_its_units(report: Report) -> Report:
    """The report as its reader reads it; itself where `units` is not set."""
    units = report.units
    if units is None or (units.is_house and not units.currency):
        return report
    return replace(
        report,
        headline=shown_text(units, report.headline),
        in_passing=shown_text(units, report.in_passing),
        sure=shown_text(units, report.sure),
        basis=shown_text(units, report.basis),
        first=tuple(_block(units, block) for block in report.first),
        sections=tuple(
            replace(section, blocks=tuple(_block(units, block) for block in section.blocks)) for section in report.sections
        ),
    )


def moment_of_report(report: Report) -> str:
    """When it was made, as its reader writes dates."""
    return shown_text(report.units or DisplayUnits(), f"{report.made_at:%Y-%m-%d %H:%M %z}")


def poster_in_units(poster: Poster, units: DisplayUnits) -> Poster:
    """A picture to show in display units."""
    question, headline, sure, date = (
        shown_text(units, text) for text in (poster.question, poster.headline, poster.sure, poster.date)
    )
    pictures = tuple(picture.in_units(units) for picture in poster.pictures)
    return replace(poster, question=question, headline=headline, sure=sure, date=date, pictures=pictures)


def _block(units: DisplayUnits, block: Block) -> Block:
    match block:
        case Words(text=text):
            return Words(text=shown_text(units, text))
        case PointList(items=items):
            return PointList(items=tuple(shown_text(units, item) for item in items))
        case Facts(rows=rows):
            return Facts(rows=tuple((name, shown_text(units, value, name)) for name, value in rows))
        case Grid(table=table):
            return Grid(table=table.in_units(units, table.caption))
        case Warned(title=title, items=items):
            return Warned(title=shown_text(units, title), items=tuple(shown_text(units, item) for item in items))
        case Shown(picture=picture):
            return replace(block, picture=picture.in_units(units))
