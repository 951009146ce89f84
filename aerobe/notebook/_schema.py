"""The tables of the notebook as they are now. How they came to be is in `_migrations`.

A noun has a table of its own: its key, the key of what it belongs to, and the record as canonical JSON with its hash.
Readings are only ever added. Logs lie in packed chunks, since a probe that speaks every second fills a million rows in days.
"""

from __future__ import annotations

from dataclasses import dataclass

import sqlalchemy as sa

from aerobe.records import Assay, Brew, Compost, Harvest, Recipe, RunSheet, Sample, Trial, Use, Vessel

SCHEMA = "0002"  # the newest migration; a test holds this to the folder

metadata = sa.MetaData(
    naming_convention={
        "pk": "pk_%(table_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "uq": "uq_%(table_name)s_%(column_0_name)s",
        "ix": "ix_%(table_name)s_%(column_0_name)s",
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Noun:
    """How one kind of record is kept: its table, the field that is its key, and what it belongs to."""

    name: str
    cls: type
    key: str = "key"
    parent: str = ""  # the field naming the owner; may be empty text
    owner: str = ""  # the table of the owner
    needs: tuple[tuple[str, str], ...] = ()  # further fields and the tables they point to

    @property
    def table(self) -> sa.Table:
        return metadata.tables[self.name]


# In this order an import can add them: owners first.
NOUNS: tuple[Noun, ...] = (
    Noun(name="composts", cls=Compost),
    Noun(name="recipes", cls=Recipe, parent="compost", owner="composts"),
    Noun(name="vessels", cls=Vessel),
    Noun(name="assays", cls=Assay),
    Noun(name="trials", cls=Trial),
    Noun(name="run_sheets", cls=RunSheet, key="trial", parent="trial", owner="trials"),
    Noun(name="brews", cls=Brew, parent="trial", owner="trials", needs=(("recipe", "recipes"), ("vessel", "vessels"))),
    Noun(name="samples", cls=Sample, parent="brew", owner="brews"),
    Noun(name="harvests", cls=Harvest, key="brew", parent="brew", owner="brews"),
    Noun(name="uses", cls=Use, parent="brew", owner="brews"),
)
BY_CLASS: dict[type, Noun] = {noun.cls: noun for noun in NOUNS}


def _noun_table(noun: Noun) -> sa.Table:
    owner = [sa.ForeignKey(f"{noun.owner}.key")] if noun.owner else []
    return sa.Table(
        noun.name,
        metadata,
        sa.Column("key", sa.String(80), primary_key=True),
        sa.Column("parent", sa.String(80), *owner, nullable=True, index=True),
        sa.Column("payload", sa.Text, nullable=False),
        sa.Column("hash", sa.String(64), nullable=False),
        sa.Column("changed_at", sa.String(40), nullable=False),
    )


for _noun in NOUNS:
    _noun_table(_noun)

readings = sa.Table(
    "readings",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
    sa.Column("key", sa.String(80), nullable=False, unique=True),
    sa.Column("brew", sa.String(80), sa.ForeignKey("brews.key"), nullable=True, index=True),
    sa.Column("assay", sa.String(80), sa.ForeignKey("assays.key"), nullable=False),
    sa.Column("role", sa.String(20), nullable=False),
    sa.Column("elapsed_h", sa.Double, nullable=False),
    # One correction a reading: a second one corrects the first correction, so that history is a line and not a bush.
    sa.Column("replaces", sa.String(80), sa.ForeignKey("readings.key"), nullable=True, unique=True),
    sa.Column("payload", sa.Text, nullable=False),
    sa.Column("hash", sa.String(64), nullable=False),
    sa.Column("added_at", sa.String(40), nullable=False),
)

log_chunks = sa.Table(
    "log_chunks",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
    sa.Column("brew", sa.String(80), sa.ForeignKey("brews.key"), nullable=False),
    sa.Column("channel", sa.String(20), nullable=False),
    sa.Column("probe", sa.String(80), nullable=False),
    sa.Column("from_h", sa.Double, nullable=False),
    sa.Column("to_h", sa.Double, nullable=False),
    sa.Column("points", sa.Integer, nullable=False),
    sa.Column("times", sa.LargeBinary, nullable=False),  # little-endian float64 [h]
    sa.Column("values", sa.LargeBinary, nullable=False),  # little-endian float64 [mg/L, degC, pH, uS/cm]
    sa.Column("hash", sa.String(64), nullable=False),
    sa.Index("ix_log_chunks_where", "brew", "channel", "probe", "from_h"),
)

kept = sa.Table(
    "kept",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
    sa.Column("kind", sa.String(40), nullable=False),  # advice, study, certificate, verdict, arm summary ...
    sa.Column("subject", sa.String(80), nullable=False),  # key of the brew, assay or trial it is about
    sa.Column("at", sa.String(40), nullable=False),
    sa.Column("payload", sa.Text, nullable=False),
    sa.Column("hash", sa.String(64), nullable=False),
    sa.Index("ix_kept_what", "kind", "subject"),
)

entries = sa.Table(
    "entries",
    metadata,
    sa.Column("token", sa.String(120), primary_key=True),  # made when a form was opened: the same form twice adds nothing
    sa.Column("noun", sa.String(40), nullable=False),
    sa.Column("key", sa.String(80), nullable=False),
    sa.Column("at", sa.String(40), nullable=False),
)

audit = sa.Table(
    "audit",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
    sa.Column("at", sa.String(40), nullable=False),
    sa.Column("who", sa.String(120), nullable=False),
    sa.Column("did", sa.String(20), nullable=False),  # add, change, correct, import, restore, set
    sa.Column("noun", sa.String(40), nullable=False),
    sa.Column("key", sa.String(80), nullable=False),
    sa.Column("brew", sa.String(80), nullable=False, index=True),
    sa.Column("before", sa.Text, nullable=True),  # what stood there, so that nothing typed is lost
    sa.Column("why", sa.Text, nullable=False),
)

settings = sa.Table(
    "settings",
    metadata,
    sa.Column("name", sa.String(80), primary_key=True),
    sa.Column("value", sa.Text, nullable=False),
)
