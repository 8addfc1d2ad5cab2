"""The stock: units with every version of their record, keys, and the shop's profile."""

import sqlalchemy as sa
from alembic import op

from gradekit_api.tables import Moment, Number

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the tables of the stock."""
    _units()
    op.create_table(
        "keys",
        sa.Column("id", sa.String(16), primary_key=True),
        sa.Column("name", sa.String(64), nullable=False),
        sa.Column("scopes", sa.String(200), nullable=False),
        sa.Column("digest", sa.String(64), nullable=False),
        sa.Column("created_at", Moment, nullable=False),
        sa.Column("revoked_at", Moment),
    )
    op.create_table(
        "shop",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("revision", sa.Integer, nullable=False),
        sa.Column("profile", sa.Text, nullable=False),
        sa.Column("saved_at", Moment, nullable=False),
    )


def _units() -> None:
    op.create_table(
        "units",
        sa.Column("number", Number, primary_key=True, autoincrement=True),
        sa.Column("unit_id", sa.String(64), nullable=False, unique=True),
        sa.Column("revision", sa.Integer, nullable=False),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("state", sa.String(16), nullable=False, index=True),
        sa.Column("kind", sa.String(64), nullable=False, index=True),
        sa.Column("sale_class", sa.String(16), nullable=False),
        sa.Column("grade", sa.String(8)),
        sa.Column("maker", sa.Text),
        sa.Column("model", sa.Text),
        sa.Column("words", sa.Text, nullable=False),
        sa.Column("created_at", Moment, nullable=False),
        sa.Column("updated_at", Moment, nullable=False),
    )
    op.create_table(
        "inspections",
        sa.Column("unit", Number, sa.ForeignKey("units.number"), primary_key=True),
        sa.Column("version", sa.Integer, primary_key=True),
        sa.Column("record", sa.Text, nullable=False),
        sa.Column("record_digest", sa.String(64), nullable=False),
        sa.Column("saved_at", Moment, nullable=False),
        sa.Column("saved_by", sa.String(64)),
    )
    op.create_table(
        "assessments",
        sa.Column("unit", Number, sa.ForeignKey("units.number"), primary_key=True),
        sa.Column("version", sa.Integer, primary_key=True),
        sa.Column("result", sa.Text, nullable=False),
        sa.Column("rulebook_digest", sa.String(64), nullable=False),
        sa.Column("assessed_at", Moment, nullable=False),
    )


def downgrade() -> None:
    """Take away everything."""
    for table in ("shop", "keys", "assessments", "inspections", "units"):
        op.drop_table(table)
