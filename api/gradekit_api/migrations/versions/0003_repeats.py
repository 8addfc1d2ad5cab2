"""Answers to POSTs that carried an Idempotency-Key, so that a repeat gets the same."""

import sqlalchemy as sa
from alembic import op

from gradekit_api.tables import Moment

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Make the table of answers."""
    op.create_table(
        "repeats",
        sa.Column("key", sa.String(16), primary_key=True),
        sa.Column("name", sa.String(255), primary_key=True),
        sa.Column("request", sa.String(64), nullable=False),
        sa.Column("answered_at", Moment, nullable=False, index=True),
        sa.Column("status", sa.Integer),
        sa.Column("headers", sa.Text),
        sa.Column("body", sa.Text),
    )


def downgrade() -> None:
    """Forget the answers."""
    op.drop_table("repeats")
