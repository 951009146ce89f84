"""Results in, a printable report out: HTML that needs no connection, tagged PDF, and the data package beside it."""

from aerobe.reports._blocks import Block, Facts, Grid, Points, Report, Section, Shown, Warned, Words
from aerobe.reports._html import as_html
from aerobe.reports._pdf import as_pdf

__all__ = [
    "Block", "Facts", "Grid", "Points", "Report", "Section", "Shown", "Warned", "Words", "as_html", "as_pdf",
]
