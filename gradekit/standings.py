"""STANDINGS: what may be said of parts, of work, and of signs that somebody was there before.

It serves the facts: origin and evidence together give each part its standing, and signs of
earlier work take it from parts whose origin was only told. It gives no verdicts.
"""

from typing import get_args

from msgspec import UNSET

from gradekit import inspection as record
from gradekit.inspection import Inspection, known, may_have
from gradekit.kinds import Kind, Part
from gradekit.subjects import PartFact, RepairFact, SignFact, Standing, open_fields
from gradekit.works import open_list

_STANDINGS: tuple[Standing, ...] = get_args(Standing)


def signs_of(inspection: Inspection, kind: Kind, out: dict[str, str]) -> tuple[SignFact, ...]:
    """Every sign that was recorded; none tells of a failing cell once every battery is out."""
    if not inspection.signs:
        return ()
    cell_in = cell_left(inspection, kind, out)
    return tuple(
        SignFact(
            about=f"signs[{i}]",
            sign=sign.sign,
            where=known(sign.where),
            area=None if sign.where is UNSET else kind.area_of(sign.where),
            earlier_work=kind.signs[sign.sign].earlier_work,
            cell=kind.signs[sign.sign].cell and cell_in,
            inside_seen=known(inspection.inside_seen),
        )
        for i, sign in enumerate(inspection.signs)
    )


def cell_left(inspection: Inspection, kind: Kind, out: dict[str, str]) -> bool:
    """A battery may still be in: the kind has some, and not all that the unit has are out."""
    batteries = [b for b in kind.batteries.values() if may_have(inspection, b.if_present)]
    return not batteries or any(not out.keys() & set(b.carried_by) for b in batteries)


def parts_of(
    inspection: Inspection, kind: Kind, signs: tuple[SignFact, ...]
) -> tuple[PartFact, ...]:
    """Every part that was fitted, with its standing."""
    signed = {sign.area for sign in signs if sign.earlier_work}
    signs_open = open_list(inspection, "signs")
    return tuple(
        _part(part, kind.parts[part.part], f"parts[{i}]", signed, signs_open)
        for i, part in enumerate(inspection.parts or ())
    )


def _part(
    part: record.Part, what: Part, about: str, signed: set[str | None], signs_open: bool
) -> PartFact:
    standing, is_open = _standing(part)
    if standing == "claimed_original" and part.fitted_by in (UNSET, "owner", "previous_unknown"):
        if what.area in signed or None in signed:
            standing = "unknown"
            is_open = is_open or what.area not in signed or part.fitted_by is UNSET
        is_open = is_open or signs_open
    return PartFact(
        about=about,
        open=open_fields(("standing", is_open)),
        part=part.part,
        area=what.area,
        visible=what.visible,
        cell=what.cell,
        small=what.small,
        vital=what.vital,
        standing=standing,
        origin=known(part.origin),
        fitted_by=known(part.fitted_by),
        used=known(part.used),
        device_says=None if part.device_says == "not_looked" else known(part.device_says),
        lost=None if part.lost is UNSET else len(part.lost),
        lost_functions=part.lost or (),
        on=known(part.on),
    )


_TOLD: dict[record.Origin, Standing] = {
    "maker_new": "maker_supplied",
    "authorised": "authorised_supplied",
    "pulled": "original_confirmed",
    "claimed_original": "original_confirmed",
    "reworked": "reworked",
    "aftermarket": "aftermarket",
    "unknown": "unknown",
    "suspected_counterfeit": "suspected_counterfeit",
}
"""The best that each origin can come to if the evidence bears it out."""


def _standing(part: record.Part) -> tuple[Standing, bool]:
    """What may be said of a part, and whether more evidence could still improve on it."""
    if part.origin is UNSET:
        return "unknown", True
    told = _STANDINGS.index(_TOLD[part.origin])
    if told > _STANDINGS.index("original_confirmed"):
        return _STANDINGS[told], False
    shown = _STANDINGS.index(_shown(part))
    looked = part.device_says not in (UNSET, "not_looked")
    improvable = shown > told and (part.evidence is UNSET or not looked)
    return _STANDINGS[max(told, shown)], improvable


def _shown(part: record.Part) -> Standing:
    """The best that evidence of any kind bears out, whatever was told."""
    evidence = part.evidence or ()
    if "maker_invoice" in evidence:
        return "maker_supplied"
    if "authorised_invoice" in evidence:
        return "authorised_supplied"
    if "donor_record" in evidence or part.device_says in ("verified", "used_genuine"):
        return "original_confirmed"
    return "claimed_original"


def repairs_of(inspection: Inspection, kind: Kind) -> tuple[RepairFact, ...]:
    """Every piece of work that was recorded."""
    return tuple(
        RepairFact(
            about=f"repairs[{i}]",
            work=repair.work,
            level=known(repair.level) or kind.works[repair.work].level,
            by=known(repair.by),
            practice=known(repair.practice),
            accepted=_accepted(repair, kind.works[repair.work].acceptance),
            on=known(repair.on),
        )
        for i, repair in enumerate(inspection.repairs or ())
    )


def _accepted(repair: record.Repair, laid_down: tuple[str, ...]) -> bool | None:
    """Every check that the kind lays down was passed; where none is laid down, none can be."""
    if repair.acceptance is UNSET:
        return None
    return bool(laid_down) and set(laid_down) <= set(repair.acceptance)
