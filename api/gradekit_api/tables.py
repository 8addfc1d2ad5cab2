"""TABLES: what the service keeps, as one schema for both databases.

It stands under the store. Records and results are kept as the JSON they were made of; beside them
stand only the columns that are searched, counted or compared. It holds no names or addresses of
buyers.
"""

from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa


class Moment(sa.TypeDecorator[datetime]):
    """A moment in UTC as text of one width, which sorts as it reads in either database."""

    impl = sa.String(27)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Any) -> str | None:
        """Write 2026-11-20T09:30:00.000000Z."""
        if value is None:
            return None
        return value.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")

    def process_result_value(self, value: Any, dialect: Any) -> datetime | None:
        """Read what was written."""
        return None if value is None else datetime.fromisoformat(value)


metadata = sa.MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_name)s",
        "uq": "uq_%(table_name)s_%(column_0_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "pk": "pk_%(table_name)s",
    }
)

Number = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
"""SQLite counts up only columns that are called INTEGER."""

units = sa.Table(
    "units",
    metadata,
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

inspections = sa.Table(
    "inspections",
    metadata,
    sa.Column("unit", Number, sa.ForeignKey("units.number"), primary_key=True),
    sa.Column("version", sa.Integer, primary_key=True),
    sa.Column("record", sa.Text, nullable=False),
    sa.Column("record_digest", sa.String(64), nullable=False),
    sa.Column("saved_at", Moment, nullable=False),
    sa.Column("saved_by", sa.String(64)),
)

assessments = sa.Table(
    "assessments",
    metadata,
    sa.Column("unit", Number, sa.ForeignKey("units.number"), primary_key=True),
    sa.Column("version", sa.Integer, primary_key=True),
    sa.Column("result", sa.Text, nullable=False),
    sa.Column("rulebook_digest", sa.String(64), nullable=False),
    sa.Column("assessed_at", Moment, nullable=False),
)

keys = sa.Table(
    "keys",
    metadata,
    sa.Column("id", sa.String(16), primary_key=True),
    sa.Column("name", sa.String(64), nullable=False),
    sa.Column("scopes", sa.String(200), nullable=False),
    sa.Column("digest", sa.String(64), nullable=False),
    sa.Column("created_at", Moment, nullable=False),
    sa.Column("revoked_at", Moment),
)

shop = sa.Table(
    "shop",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("revision", sa.Integer, nullable=False),
    sa.Column("profile", sa.Text, nullable=False),
    sa.Column("saved_at", Moment, nullable=False),
)

publications = sa.Table(
    "publications",
    metadata,
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

reservations = sa.Table(
    "reservations",
    metadata,
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

sales = sa.Table(
    "sales",
    metadata,
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

changes = sa.Table(
    "changes",
    metadata,
    sa.Column("number", Number, primary_key=True, autoincrement=True),
    sa.Column("at", Moment, nullable=False),
    sa.Column("event", sa.String(16), nullable=False),
    sa.Column("slug", sa.String(100), nullable=False),
    sa.Column("version", sa.Integer, nullable=False),
)

repeats = sa.Table(
    "repeats",
    metadata,
    sa.Column("key", sa.String(16), primary_key=True),
    sa.Column("name", sa.String(255), primary_key=True),
    sa.Column("request", sa.String(64), nullable=False),
    sa.Column("answered_at", Moment, nullable=False, index=True),
    sa.Column("status", sa.Integer),
    sa.Column("headers", sa.Text),
    sa.Column("body", sa.Text),
)
