"""STATUSES: what a text says of the functions it names: that they work, fail or were not tested.

It serves the claim check, which holds them against the record's tests. It knows no record.
"""

from collections.abc import Iterable
from typing import NamedTuple

from gradekit.statements import Mention, Reading
from gradekit.wordings import Hit

_EXCEPT_REACH = 2
"""Words between "except" and the function that it sets apart, at most."""


class Status(NamedTuple):
    """What a text says of a function: where, of which functions, and how they stand."""

    function: Hit
    functions: frozenset[str]
    said: Hit
    state: str
    """``ok``, ``fault``, ``partial`` or ``untested``."""
    hedged: bool


def statuses_in(reading: Reading) -> tuple[Status, ...]:
    """Every function the text names, with how it stands by the text."""
    by_span = spans(reading.of("function"))
    functions = [Mention(Hit("function.", *span), "") for span in by_span]
    functions += [Mention(h, "") for h in reading.named.get("notion.rest", ())]
    states = [Mention(h, s) for h in reading.of("status") if (s := _state(reading, h))]
    found = [
        Status(f.hit, by_span[f.hit.first, f.hit.last], s.hit, s.means, reading.hedged(s.hit))
        for f, s in reading.pairs(functions, states, strict=True)
        if f.hit.table == "function"
    ]
    found = [s._replace(state="fault") if _set_apart(reading, s) else s for s in found]
    found = [s for s in found if s.state != "ok" or not _left_out(reading, s)]
    poor = {s.function for s in found if s.state != "ok"}
    return tuple(s for s in found if s.state != "ok" or s.function not in poor)


def _set_apart(reading: Reading, status: Status) -> bool:
    """``Everything works except NFC``, ``all but NFC works``: it does not."""
    excepts = reading.named.get("tone.except", ())
    near = (status.function.first - e.last - 1 for e in excepts)
    return status.state == "ok" and any(0 <= apart <= _EXCEPT_REACH for apart in near)


def _left_out(reading: Reading, status: Status) -> bool:
    """``Without noise cancelling it sounds fine``: what sounds fine is something else."""
    lacks = reading.named.get("tone.not_near", ())
    return any(lack.last + 1 == status.function.first for lack in lacks)


def _state(reading: Reading, hit: Hit) -> str:
    """How a status word says that something stands; empty where it says nothing."""
    tone = reading.tone(hit)
    if tone == "denied":
        return {"ok": "fault", "fault": "ok"}.get(hit.key, "")
    return "" if tone == "unsaid" or hit.key == "none" else hit.key


def spans(hits: Iterable[Hit]) -> dict[tuple[int, int], frozenset[str]]:
    """Hits by place, with every word that the wording there may stand for."""
    spans: dict[tuple[int, int], frozenset[str]] = {}
    for hit in hits:
        place = (hit.first, hit.last)
        spans[place] = spans.get(place, frozenset()) | {hit.key}
    return spans
