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
