"""What calculations gave, kept with the versions and seed that made it."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    op.create_table(
        "kept",
        sa.Column("id", sa.Integer, autoincrement=True, nullable=False),
        sa.Column("kind", sa.String(40), nullable=False),
        sa.Column("subject", sa.String(80), nullable=False),
        sa.Column("at", sa.String(40), nullable=False),
        sa.Column("payload", sa.Text, nullable=False),
        sa.Column("hash", sa.String(64), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_kept"),
    )
    op.create_index("ix_kept_what", "kept", ["kind", "subject"])
