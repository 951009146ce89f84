"""Results in, a printable report out: HTML that needs no connection, tagged PDF, and the data package beside it."""

from aerobe.reports._again import Again, Difference, compare
from aerobe.reports._assay import AssayStudy, assay_report
from aerobe.reports._blocks import Block, Facts, Grid, PointList, Report, Section, Shown, Warned, Words
from aerobe.reports._brew import BrewRecords, brew_numbers, brew_report
from aerobe.reports._deposit import authors_of
from aerobe.reports._display import poster_in_units
from aerobe.reports._finding import poster_of, poster_of_pool
from aerobe.reports._html import as_html
from aerobe.reports._imprint import Imprint
from aerobe.reports._origin import FromTable
from aerobe.reports._page import FindingPage, finding_of_pool, finding_of_report
from aerobe.reports._pdf import as_pdf
from aerobe.reports._pooled import POOL_SOURCES, pooled_blocks, pooled_numbers
from aerobe.reports._protocol import protocol_page
from aerobe.reports._publish import LICENCES, with_licence
from aerobe.reports._recompute import recompute_files
from aerobe.reports._run_sheet import run_sheet_style, sheet_page
from aerobe.reports._site import site
from aerobe.reports._trial import TrialRecords, course_pictures, trial_numbers, trial_pictures, trial_report

__all__ = [
    "LICENCES",
    "POOL_SOURCES",
    "Again",
    "Block",
    "TrialRecords",
    "Imprint",
    "BrewRecords",
    "AssayStudy",
    "Difference",
    "Facts",
    "FindingPage",
    "FromTable",
    "authors_of",
    "finding_of_pool",
    "finding_of_report",
    "poster_of_pool",
    "Grid",
    "PointList",
    "Report",
    "Section",
    "Shown",
    "Warned",
    "Words",
    "as_html",
    "as_pdf",
    "assay_report",
    "brew_numbers",
    "brew_report",
    "compare",
    "course_pictures",
    "poster_in_units",
    "poster_of",
    "pooled_blocks",
    "pooled_numbers",
    "run_sheet_style",
    "sheet_page",
    "site",
    "trial_numbers",
    "trial_pictures",
    "trial_report",
    "protocol_page",
    "recompute_files",
    "with_licence",
]
