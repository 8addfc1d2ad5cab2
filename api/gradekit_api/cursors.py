"""CURSORS: long lists a page at a time.

It stands beside the operations: an opaque cursor says where the next page begins, and a Link
(RFC 8288) leads there. Lists are walked by a number that only grows, so nothing is shown twice
and nothing is left out, whatever is added meanwhile.
"""

import binascii
from base64 import urlsafe_b64decode, urlsafe_b64encode
from collections.abc import Mapping, Sequence
from typing import Annotated, Any
from urllib.parse import urlencode

import msgspec
from msgspec import Meta

from gradekit_api.operations import Query
from gradekit_api.problems import one

Cursor = Annotated[
    str,
    Meta(pattern=r"^[A-Za-z0-9_-]{1,64}$(?!\n)", description="Where to go on: from the Link"),
]
Limit = Annotated[int, Meta(ge=1, le=100, description="How many at most")]


class PageQuery(Query, frozen=True, kw_only=True):
    """How much of a list is wanted."""

    limit: Limit = 20
    cursor: Cursor | None = None


def cursor_of(number: int) -> str:
    """The cursor for what comes after a number."""
    return urlsafe_b64encode(f"after:{number}".encode()).decode().rstrip("=")


def number_of(cursor: str) -> int:
    """The number in a cursor of ours; Refusal for any other."""
    try:
        text = urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4)).decode("ascii")
        word, _, number = text.partition(":")
        if word == "after" and number.isascii() and number.isdecimal() and len(number) < 19:
            return int(number)
    except (binascii.Error, UnicodeDecodeError):
        pass
    raise one("bad-parameter", "cursor", "is none of ours", "take it from the Link header")


def cut(rows: Sequence[Any], limit: int) -> tuple[Sequence[Any], bool]:
    """The rows of this page, of one more than it takes, and whether there is more."""
    return rows[:limit], len(rows) > limit


def next_link(path: str, query: PageQuery, last: int) -> Mapping[str, str]:
    """The header that leads to the next page."""
    parameters = {**msgspec.to_builtins(query), "cursor": cursor_of(last)}
    sent = {name: _written(value) for name, value in parameters.items() if value is not None}
    return {"Link": f'<{path}?{urlencode(sent)}>; rel="next"'}


def _written(value: Any) -> Any:
    return str(value).lower() if isinstance(value, bool) else value
