"""Tables that someone else made: their structure inferred with scores and reasons, and what they leave open, asked at once."""

from aerobe.tables._ask import Question, Questions
from aerobe.tables._block import Block
from aerobe.tables._brews import names_of
from aerobe.tables._clock import zone_of
from aerobe.tables._columns import FIELDS, Column
from aerobe.tables._plates import layout_from
from aerobe.tables._read import TableReading, read_table
from aerobe.tables._results import Labels, ProbeColumn, RowFault, RowRead, RowsRead
from aerobe.tables._stream import LONG_BYTES, LongLog, ThinLog, head_of, read_long_log
from aerobe.tables._stream_text import plain_stream
from aerobe.tables._text import Inferred
from aerobe.tables._units import Unit, unit_of
from aerobe.tables._wide import Wide

__all__ = [
    "FIELDS",
    "LONG_BYTES",
    "Block",
    "Column",
    "Inferred",
    "Labels",
    "LongLog",
    "ProbeColumn",
    "Question",
    "Questions",
    "RowFault",
    "RowRead",
    "RowsRead",
    "TableReading",
    "ThinLog",
    "Unit",
    "Wide",
    "head_of",
    "layout_from",
    "names_of",
    "plain_stream",
    "read_long_log",
    "read_table",
    "unit_of",
    "zone_of",
]
