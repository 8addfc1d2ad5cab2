"""REFERENCE: the words and rules that records are judged by, and the shop's own profile.

It stands beside the stock. Rules are read from their folder when the service starts; nobody
changes them from outside.
"""

import secrets
from datetime import datetime
from typing import Any

import msgspec
import sqlalchemy as sa
from msgspec.structs import replace

from gradekit import Problem, Rule, Shop, kind_words, model_problems, shop_problems
from gradekit_api.operations import (
    Answer,
    Ask,
    Operations,
    check_conditions,
    not_modified,
    struct_body,
)
from gradekit_api.problems import Refusal
from gradekit_api.tables import shop

operations = Operations("reference")


class KindWords(msgspec.Struct, frozen=True, kw_only=True):
    """The words that a record of a kind may use."""

    kind: str
    features: tuple[str, ...]
    zones: tuple[str, ...]
    functions: tuple[dict[str, Any], ...]
    mark_kinds: tuple[str, ...]
    parts: tuple[str, ...]
    works: tuple[str, ...]
    signs: tuple[str, ...]
    displays: tuple[str, ...]
    batteries: tuple[str, ...]
    clearances: tuple[str, ...]
    accessories: tuple[str, ...]
    identifiers: tuple[str, ...]


class KindList(msgspec.Struct, frozen=True, kw_only=True):
    """Every kind of device that the rulebook knows."""

    kinds: tuple[KindWords, ...]


class RuleList(msgspec.Struct, frozen=True, kw_only=True):
    """The rulebook."""

    name: str
    version: str
    digest: str
    rules: tuple[Rule, ...]


@operations("GET", "/v1/kinds", needs="any_key", gives={200: KindList})
def list_kinds(ask: Ask) -> Answer:
    """List the kinds of device, each with the words a record may use."""
    rulebook = ask.service.rulebook
    words = (kind_words(rulebook.kind(name)) for name in rulebook.kind_files)
    return Answer(KindList(kinds=tuple(msgspec.convert(each, KindWords) for each in words)))


@operations("GET", "/v1/rules", needs="any_key", gives={200: RuleList})
def list_rules(ask: Ask) -> Answer:
    """List the rules: what each looks at, what follows, and where it comes from."""
    book = ask.service.rulebook
    stamp = book.stamp
    rules = RuleList(name=stamp.name, version=stamp.version, digest=stamp.digest, rules=book.rules)
    return Answer(rules)


@operations("GET", "/v1/rules/{id}", needs="any_key", gives={200: Rule}, refuses=("not-found",))
def get_rule(ask: Ask) -> Answer:
    """Read a rule by its id or name."""
    for rule in ask.service.rulebook.rules:
        if ask.path["id"] in (rule.id, rule.name):
            return Answer(rule)
    raise Refusal("not-found", "The rulebook has no such rule.")


# --- the shop's profile ------------------------------------------------------------------------

_EXAMPLE = msgspec.convert(
    {
        "trader": {
            "name": "Harbour Bench",
            "address": "3 Slipway Lane, Port Alderkirk 0000, Australia",
            "email": "bench@example.org",
        },
        "market": "AU",
        "language": "en",
        "currency": "AUD",
        "terms": {"returns_days": 30},
    },
    Shop,
)


@operations(
    "GET", "/v1/shop", needs="read_stock", gives={200: Shop, 304: None},
    refuses=("not-found",), conditional=True,
)  # fmt: skip
def get_shop(ask: Ask) -> Answer:
    """Read the shop's profile: who sells, on which terms, with which instruments."""
    profile, tag = ask.service.shop(ask.tx), _etag(ask)
    if profile is None or tag is None:
        raise Refusal("not-found", "The shop has no profile yet: PUT one.")
    if not_modified(ask.headers, tag):
        return Answer(None, 304, {"ETag": tag})
    return Answer(_without_secret(profile), headers={"ETag": tag})


@operations(
    "PUT", "/v1/shop", needs="write_stock", takes=struct_body(Shop, _EXAMPLE), writes=True,
    gives={200: Shop, 201: Shop}, conditional=True,
    refuses=("unreadable", "stale", "does-not-fit", "condition-needed"),
)  # fmt: skip
def put_shop(ask: Ask) -> Answer:
    """Write the shop's profile. What is published already keeps the terms it was published with.

    Create with `If-None-Match: *`; change with `If-Match`. A folder of rules can only be named
    where the service is started.
    """
    tag = _etag(ask, lock=True)
    check_conditions(ask.headers, tag, required=True)
    if tag is None and "if-none-match" not in ask.headers:
        raise Refusal("stale", "There is no profile yet: create it with If-None-Match: *.")
    if problems := [*_own_rules(ask.body), *shop_problems(ask.body),
                    *model_problems(ask.body, ask.service.rulebook)]:  # fmt: skip
        raise Refusal("does-not-fit", "See problems.", problems)
    keep_shop(ask.tx, ask.body, ask.now)
    return Answer(
        _without_secret(ask.body), 201 if tag is None else 200, {"ETag": _etag(ask) or ""}
    )


def _own_rules(profile: Shop) -> list[Problem]:
    if profile.rules is None:
        return []
    return [Problem("rules", "cannot be named here", "start the service with --shop")]


def keep_shop(tx: sa.Connection, profile: Shop, now: datetime) -> None:
    """Write the profile into the store, unless it is there already.

    A profile that brings no secret for the addresses of its listings keeps the one it had, or
    gets one: two units that are alike must not have one address.
    """
    kept = tx.scalar(sa.select(shop.c.profile))
    old = None if kept is None else msgspec.json.decode(kept, type=Shop)
    if profile.address_key is None:
        secret = old.address_key if old else secrets.token_hex()
        profile = replace(profile, address_key=secret)
    new = {"profile": msgspec.json.encode(profile).decode(), "saved_at": now}
    if old is None:
        tx.execute(shop.insert().values(**new, id=1, revision=1))
    elif old != profile:
        tx.execute(shop.update().values(**new, revision=shop.c.revision + 1))


def _without_secret(profile: Shop) -> Shop:
    """The profile as it is shown: its secret leaves the store with no answer."""
    return replace(profile, address_key=None)


def _etag(ask: Ask, *, lock: bool = False) -> str | None:
    query = sa.select(shop.c.revision)
    revision = ask.tx.scalar(query.with_for_update() if lock else query)
    return None if revision is None else f'"s{revision}"'
