"""Records, readings, logs, entry tokens, audit trail and settings."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

OWNERS = {
    "composts": None,
    "recipes": "composts",
    "vessels": None,
    "assays": None,
    "trials": None,
    "run_sheets": "trials",
    "brews": "trials",
    "samples": "brews",
    "harvests": "brews",
    "uses": "brews",
}


def upgrade() -> None:
    for name, owner in OWNERS.items():
        foreign = [sa.ForeignKey(f"{owner}.key", name=f"fk_{name}_parent")] if owner else []
        op.create_table(
            name,
            sa.Column("key", sa.String(80), nullable=False),
            sa.Column("parent", sa.String(80), *foreign, nullable=True),
            sa.Column("payload", sa.Text, nullable=False),
            sa.Column("hash", sa.String(64), nullable=False),
            sa.Column("changed_at", sa.String(40), nullable=False),
            sa.PrimaryKeyConstraint("key", name=f"pk_{name}"),
        )
        op.create_index(f"ix_{name}_parent", name, ["parent"])
    op.create_table(
        "readings",
        sa.Column("id", sa.Integer, autoincrement=True, nullable=False),
        sa.Column("key", sa.String(80), nullable=False),
        sa.Column("brew", sa.String(80), sa.ForeignKey("brews.key", name="fk_readings_brew"), nullable=True),
        sa.Column("assay", sa.String(80), sa.ForeignKey("assays.key", name="fk_readings_assay"), nullable=False),
        sa.Column("role", sa.String(20), nullable=False),
        sa.Column("elapsed_h", sa.Double, nullable=False),
        sa.Column("replaces", sa.String(80), sa.ForeignKey("readings.key", name="fk_readings_replaces"), nullable=True),
        sa.Column("payload", sa.Text, nullable=False),
        sa.Column("hash", sa.String(64), nullable=False),
        sa.Column("added_at", sa.String(40), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_readings"),
        sa.UniqueConstraint("key", name="uq_readings_key"),
        sa.UniqueConstraint("replaces", name="uq_readings_replaces"),
    )
    op.create_index("ix_readings_brew", "readings", ["brew"])
    op.create_table(
        "log_chunks",
        sa.Column("id", sa.Integer, autoincrement=True, nullable=False),
        sa.Column("brew", sa.String(80), sa.ForeignKey("brews.key", name="fk_log_chunks_brew"), nullable=False),
        sa.Column("channel", sa.String(20), nullable=False),
        sa.Column("probe", sa.String(80), nullable=False),
        sa.Column("from_h", sa.Double, nullable=False),
        sa.Column("to_h", sa.Double, nullable=False),
        sa.Column("points", sa.Integer, nullable=False),
        sa.Column("times", sa.LargeBinary, nullable=False),
        sa.Column("values", sa.LargeBinary, nullable=False),
        sa.Column("hash", sa.String(64), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_log_chunks"),
    )
    op.create_index("ix_log_chunks_where", "log_chunks", ["brew", "channel", "probe", "from_h"])
    op.create_table(
        "entries",
        sa.Column("token", sa.String(120), nullable=False),
        sa.Column("noun", sa.String(40), nullable=False),
        sa.Column("key", sa.String(80), nullable=False),
        sa.Column("at", sa.String(40), nullable=False),
        sa.PrimaryKeyConstraint("token", name="pk_entries"),
    )
    op.create_table(
        "audit",
        sa.Column("id", sa.Integer, autoincrement=True, nullable=False),
        sa.Column("at", sa.String(40), nullable=False),
        sa.Column("who", sa.String(120), nullable=False),
        sa.Column("did", sa.String(20), nullable=False),
        sa.Column("noun", sa.String(40), nullable=False),
        sa.Column("key", sa.String(80), nullable=False),
        sa.Column("brew", sa.String(80), nullable=False),
        sa.Column("before", sa.Text, nullable=True),
        sa.Column("why", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_audit"),
    )
    op.create_index("ix_audit_brew", "audit", ["brew"])
    op.create_table(
        "settings",
        sa.Column("name", sa.String(80), nullable=False),
        sa.Column("value", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_settings"),
    )
