"""CLEARANCES: whether anything stands in the way of selling a unit at all.

It serves the facts: locks, lists, ownership, the removal of data and the numbers that name a
unit, each as it stands on the day of the assessment. It gives no verdicts.
"""

from collections.abc import Sequence
from datetime import date
from itertools import combinations_with_replacement
from typing import get_args

from msgspec import UNSET

from gradekit import inspection as record
from gradekit import measures
from gradekit.inspection import Inspection, known, may_have
from gradekit.kinds import Clearance, Kind
from gradekit.subjects import ClearanceFact, ErasureFact, IdentityFact, open_fields
from gradekit.works import Works, stands

CHECK_DAYS = 30
"""A clearance older than this on the assessment's day counts as not checked (common practice)."""

# The most that a method can reach, after NIST SP 800-88 (clear, purge, destroy); an overwrite may
# miss cells of flash storage, so it never counts for more than clear.
_REACH: dict[record.ErasureMethod, record.ErasureLevel] = {
    "maker_erase_with_encryption": "purge",
    "crypto_erase_cmd": "purge",
    "block_erase": "purge",
    "overwrite": "clear",
    "factory_reset": "clear",
}
_LEVELS: tuple[record.ErasureLevel, ...] = get_args(record.ErasureLevel)


def clearance_of(
    inspection: Inspection, kind: Kind, works: Works, out: dict[str, str], on: date
) -> tuple[ClearanceFact, ...]:
    """Every check that applies to the kind, made or not."""
    checks = inspection.clearance or {}
    return tuple(
        _cleared(inspection, name, clearance, checks.get(name), works, on)
        for name, clearance in kind.clearances.items()
        if may_have(inspection, clearance.if_present) and not out.keys() & set(clearance.carried_by)
    )


def _cleared(
    inspection: Inspection,
    name: str,
    clearance: Clearance,
    check: record.Check | None,
    works: Works,
    on: date,
) -> ClearanceFact:
    about = f"clearance.{name}"
    if check is None or check.result == "not_checked" or check.result == "not_applicable":
        return ClearanceFact(about=about, check=name, shaky=not works.whole)
    checked = inspection.inspected_on if check.checked_on is UNSET else check.checked_on
    age = (on - checked).days
    old = age > CHECK_DAYS and not clearance.lasting
    stale = age < 0 or old or not stands(checked, check.stage, works.rereading(about))
    return ClearanceFact(
        about=about,
        open=open_fields(("result", stale), ("age_days", stale)),
        shaky=not works.whole,
        check=name,
        result=check.result,
        age_days=age,
    )


def may_store(inspection: Inspection, kind: Kind) -> bool:
    """The unit keeps its user's data, or may."""
    return kind.storage is not None and may_have(inspection, kind.storage.if_present)


def erasure_of(
    inspection: Inspection, kind: Kind, works: Works, out: dict[str, str]
) -> tuple[ErasureFact, ...]:
    """The erasure, for kinds with storage that is still in."""
    if kind.storage is None or not may_store(inspection, kind):
        return ()
    if out.keys() & {"storage", *kind.storage.carried_by}:
        return ()
    erasure = inspection.erasure
    if erasure is UNSET:
        return (ErasureFact(about="erasure", shaky=not works.whole),)
    done_on = inspection.inspected_on if erasure.on is UNSET else erasure.on
    stale = not stands(done_on, erasure.stage, works.rereading("erasure"))
    return (
        ErasureFact(
            about="erasure",
            open=open_fields(*((name, stale) for name in ("method", "level", "verified"))),
            shaky=not works.whole,
            method=known(erasure.method),
            level=_reached(erasure),
            verified=known(erasure.verified),
        ),
    )


def _reached(erasure: record.Erasure) -> record.ErasureLevel | None:
    """The level claimed, but no better than its method can reach."""
    claimed: record.ErasureLevel | None = known(erasure.level)
    if erasure.method is UNSET:
        return claimed
    reach = _REACH[erasure.method]
    return reach if claimed is None else max(claimed, reach, key=_LEVELS.index)


def identity_of(inspection: Inspection, kind: Kind, works: Works) -> tuple[IdentityFact, ...]:
    """Whether the numbers read in several places agree, for kinds that have numbers."""
    if not kind.identifiers:
        return ()
    swaps = works.rereading("device.identifiers")
    every = [i for i in inspection.device.identifiers or () if i.type in kind.identifiers]
    day = inspection.inspected_on
    since = [i for i in every if not swaps or stands(i.read_on or day, i.stage, swaps)]
    kept = since or every
    placeless = any(i.seen_on is UNSET for i in kept)
    doubtful = placeless or (bool(every) and not since)
    return (
        IdentityFact(
            about="device.identifiers",
            open=open_fields(("agree", doubtful), ("places", doubtful)),
            shaky=not works.whole,
            agree=_agree(kept) if kept else None,
            places=len({i.seen_on for i in kept if i.seen_on is not UNSET}) if kept else None,
        ),
    )


def _agree(identifiers: Sequence[record.Identifier]) -> bool:
    """No two places show numbers of one type without a number in common."""
    seen: dict[tuple[str, str], list[measures.IdentifierReading]] = {}
    numbers = {(i.type, i.value) for i in identifiers}
    read = {number: measures.read_identifier(*number) for number in numbers}
    if len(read) == 1:
        return next(iter(read.values())).problem is None
    for identifier in identifiers:
        place = str(identifier.seen_on)
        reading = read[identifier.type, identifier.value]
        family = "imei" if reading.type == "imeisv" else reading.type
        seen.setdefault((family, place), []).append(reading)
    pairs = combinations_with_replacement(seen.items(), 2)
    return all(
        any(measures.same_identity(a, b) for a in ours for b in theirs)
        for ((family, _), ours), ((other, _), theirs) in pairs
        if family == other
    )
