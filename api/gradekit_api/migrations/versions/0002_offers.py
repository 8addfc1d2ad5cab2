"""Offers: what was published, reserved and sold, and the list of what changed."""

import sqlalchemy as sa
from alembic import op

from gradekit_api.tables import Moment, Number

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Make the tables of offers."""
    _publications()
    _reservations()
    _sales()
    _changes()


def _publications() -> None:
    op.create_table(
        "publications",
        sa.Column("number", Number, primary_key=True, autoincrement=True),
        sa.Column("unit", Number, sa.ForeignKey("units.number"), nullable=False, index=True),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("record_version", sa.Integer, nullable=False),
        sa.Column("shop_revision", sa.Integer),
        sa.Column("rulebook_digest", sa.String(64), nullable=False),
        sa.Column("public_digest", sa.String(64), nullable=False),
        sa.Column("slug", sa.String(100), nullable=False, index=True),
        sa.Column("listing", sa.Text, nullable=False),
        sa.Column("card", sa.Text, nullable=False),
        sa.Column("words", sa.Text, nullable=False),
        sa.Column("kind", sa.String(64), nullable=False),
        sa.Column("sale_class", sa.String(16), nullable=False),
        sa.Column("grade", sa.String(8)),
        sa.Column("price", sa.BigInteger),
        sa.Column("currency", sa.String(3)),
        sa.Column("market", sa.String(6), nullable=False),
        sa.Column("language", sa.String(2), nullable=False),
        sa.Column("good_until", sa.String(10), nullable=False),
        sa.Column("without_photos", sa.Text),
        sa.Column("published_at", Moment, nullable=False),
        sa.Column("published_by", sa.String(64)),
        sa.Column("ended_at", Moment),
        sa.Column("ended_why", sa.String(16)),
        sa.Index("ix_publications_live", "ended_at", "number"),
        sa.UniqueConstraint("unit", "version", name="uq_publications_unit"),
    )


def _reservations() -> None:
    op.create_table(
        "reservations",
        sa.Column("id", sa.String(32), primary_key=True),
        sa.Column(
            "publication", Number, sa.ForeignKey("publications.number"), nullable=False, index=True
        ),
        sa.Column("made_at", Moment, nullable=False),
        sa.Column("made_by", sa.String(64)),
        sa.Column("until", Moment, nullable=False, index=True),
        sa.Column("ended_at", Moment),
        sa.Column("ended_why", sa.String(16)),
    )


def _sales() -> None:
    op.create_table(
        "sales",
        sa.Column("number", Number, primary_key=True, autoincrement=True),
        sa.Column("unit", Number, sa.ForeignKey("units.number"), nullable=False, index=True),
        sa.Column("publication", Number, sa.ForeignKey("publications.number"), nullable=False),
        sa.Column("accepted", sa.Text, nullable=False),
        sa.Column("reference", sa.Text),
        sa.Column("sold_at", Moment, nullable=False),
        sa.Column("sold_by", sa.String(64)),
        sa.Column("returned_at", Moment),
        sa.Column("returned_why", sa.Text),
    )


def _changes() -> None:
    op.create_table(
        "changes",
        sa.Column("number", Number, primary_key=True, autoincrement=True),
        sa.Column("at", Moment, nullable=False),
        sa.Column("event", sa.String(16), nullable=False),
        sa.Column("slug", sa.String(100), nullable=False),
        sa.Column("version", sa.Integer, nullable=False),
    )


def downgrade() -> None:
    """Take away the offers; the stock stays, as drafts."""
    for table in ("changes", "sales", "reservations", "publications"):
        op.drop_table(table)
    op.execute("UPDATE units SET state = 'draft', revision = revision + 1 WHERE state <> 'draft'")
