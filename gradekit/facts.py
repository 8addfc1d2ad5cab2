"""FACTS: from a record to what it amounts to.

It stands between the record and the rulebook: later work has cancelled what it touched, several
readings have become one, and each part has the standing its evidence supports. It gives no
verdicts, and it never fills a silence: what is not known stays None or is marked open.
"""

from collections.abc import Callable, Iterable, Sequence
from datetime import date
from typing import Any, TypeVar, get_args

import msgspec
from msgspec import UNSET, UnsetType

from gradekit import inspection as record
from gradekit import measures
from gradekit.inspection import Inspection
from gradekit.kinds import Function, Kind
from gradekit.subjects import (
    AccessoryFact,
    BatteryFact,
    ClearanceFact,
    DisplayFact,
    ErasureFact,
    Facts,
    IdentityFact,
    MarkFact,
    Measured,
    MissingFact,
    PartFact,
    RemovedFact,
    RepairFact,
    SignFact,
    Standing,
    SymptomFact,
    TestFact,
    UnitFact,
    Water,
)
from gradekit.works import Done, Works, open_list, stands, timeline

T = TypeVar("T")
Reading = TypeVar("Reading", record.Display, record.Battery)

CHECK_DAYS = 30
"""A clearance older than this on the assessment's day counts as not checked (common practice)."""

QUESTIONABLE_AFTER_YEARS = 2
"""From this age on, full health or no cycles at all are a question (common practice)."""

# The most that a method can reach, after NIST SP 800-88 (clear, purge, destroy); an overwrite may
# miss cells of flash storage, so it never counts for more than clear.
_REACH: dict[record.ErasureMethod, record.ErasureLevel] = {
    "maker_erase_with_encryption": "purge",
    "crypto_erase_cmd": "purge",
    "block_erase": "purge",
    "overwrite": "clear",
    "factory_reset": "clear",
}
_STORAGE_GONE = ("storage_removed", "destroyed")

_STANDINGS: tuple[Standing, ...] = get_args(Standing)
_LEVELS: tuple[record.ErasureLevel, ...] = get_args(record.ErasureLevel)
_RESULTS = ("pass", "partial", "fail")
_STAGES: tuple[record.Stage, ...] = get_args(record.Stage)

_LISTS = (
    "marks",
    "displays",
    "tests",
    "parts",
    "repairs",
    "missing",
    "signs",
    "batteries",
    "accessories",
    "symptoms",
)


def establish(inspection: Inspection, kind: Kind, on: date) -> Facts:
    """Work out what the record amounts to on the day of the assessment."""
    works = timeline(inspection, kind)
    out = _taken_out(inspection)
    signs = _signs(inspection, kind)
    tests = _tests(inspection, kind, works)
    return Facts(
        unit=(_unit(inspection, signs, works, on),),
        marks=_marks(inspection, kind, out),
        displays=_displays(inspection, kind, works, out),
        tests=tests,
        symptoms=_symptoms(inspection, works),
        parts=_parts(inspection, kind, signs),
        repairs=_repairs(inspection, kind),
        signs=signs,
        batteries=_batteries(inspection, kind, works, out, on),
        clearance=_clearance(inspection, kind, works, out, on),
        erasure=_erasure(inspection, kind, works, out),
        identity=_identity(inspection, kind, works),
        accessories=_accessories(inspection, kind),
        missing=tuple(
            MissingFact(about=f"missing[{i}]", part=part)
            for i, part in enumerate(inspection.missing or ())
        ),
        removed=tuple(RemovedFact(about=about, part=part) for part, about in out.items()),
        open_subjects=frozenset(name for name in _LISTS if open_list(inspection, name)),
    )


# --- small words -------------------------------------------------------------------------------


def _known(value: T | UnsetType) -> T | None:
    """What the record says, or None where it is silent."""
    return None if isinstance(value, UnsetType) else value


def _open_fields(*fields: tuple[str, bool]) -> frozenset[str]:
    return frozenset(name for name, is_open in fields if is_open)


def _taken_out(inspection: Inspection) -> dict[str, str]:
    """Parts that are out, with the path that says so. Nothing recorded: nothing was taken out."""
    out = {part: f"removed[{i}]" for i, part in enumerate(inspection.removed or ())}
    erasure = inspection.erasure
    if erasure is not UNSET and erasure.method in _STORAGE_GONE:
        out.setdefault("storage", "erasure.method")
    return out


def _may_have(inspection: Inspection, feature: str | None) -> bool:
    has = inspection.device.has
    return feature is None or has is UNSET or feature in has


def _margin(inspection: Inspection, field: str) -> float:
    return (inspection.uncertainty or {}).get(field, 0.0)


def _judged(
    inspection: Inspection, field: str, value: float | UnsetType, margins: dict[str, float]
) -> float | None:
    """A length, area or count at the unfavourable end of its stated uncertainty (JCGM 106)."""
    if value is UNSET:
        return None
    if margin := _margin(inspection, field):
        margins[field] = margin
    return value + margin


# --- the unit ----------------------------------------------------------------------------------


def _unit(inspection: Inspection, signs: tuple[SignFact, ...], works: Works, on: date) -> UnitFact:
    intake, device = inspection.intake, inspection.device
    opened = _opened(inspection, signs, works)
    sealing: record.Sealing | None = _known(inspection.sealing)
    if sealing == "unopened" and opened:
        sealing = "unknown"
    lists: dict[str, Any] = {name: None if open_list(inspection, name) else True for name in _LISTS}
    return UnitFact(
        about="",
        open=_open_fields(("sealing", sealing == "unopened" and opened is None)),
        cleaned=_known(inspection.cleaned),
        inside_seen=_known(inspection.inside_seen),
        sealing=sealing,
        water=None if device.ip_rating is UNSET else _water(sealing, opened),
        opened=opened,
        earlier_work=_earlier_work(inspection, signs, works),
        powers_on=None if intake is UNSET else _known(intake.powers_on),
        bought=None if intake is UNSET else _known(intake.bought),
        network_lock=None if device.network_lock == "unknown" else _known(device.network_lock),
        updates_left_months=_months_left(device.updates_until, on),
        **lists,
    )


def _opened(inspection: Inspection, signs: Sequence[SignFact], works: Works) -> bool | None:
    """Whether anybody ever opened it: seen inside, worked on, resealed, or showing signs."""
    said_so = str(inspection.sealing).startswith("opened")
    if inspection.inside_seen is True or said_so or works.opened:
        return True
    if any(sign.earlier_work for sign in signs):
        return True
    looked = inspection.sealing == "unopened" and works.whole and not open_list(inspection, "signs")
    return False if looked else None


def _earlier_work(inspection: Inspection, signs: Sequence[SignFact], works: Works) -> bool | None:
    hands = [part.fitted_by for part in inspection.parts or ()]
    hands += [repair.by for repair in inspection.repairs or ()]
    if "previous_unknown" in hands or any(sign.earlier_work for sign in signs):
        return True
    return False if works.whole and not open_list(inspection, "signs") else None


def _water(sealing: record.Sealing | None, opened: bool | None) -> Water | None:
    """What an IP rating means now: it was a type test of the housing as built (IEC 60529)."""
    if sealing == "opened_unsealed":
        return "not_sealed"
    if sealing == "opened_resealed_leak_tested":
        return "leak_tested"
    if sealing == "unopened":
        return "as_rated_unopened"
    return None if sealing is None and opened is None else "not_assured"


def _months_left(until: str | UnsetType, on: date) -> int | None:
    if until is UNSET:
        return None
    year, month = map(int, until.split("-"))
    return (year - on.year) * 12 + month - on.month


# --- looks -------------------------------------------------------------------------------------


def _marks(inspection: Inspection, kind: Kind, out: dict[str, str]) -> tuple[MarkFact, ...]:
    return tuple(
        _mark(inspection, kind, mark, f"marks[{i}]")
        for i, mark in enumerate(inspection.marks or ())
        if not out.keys() & set(kind.zones[mark.zone].carried_by)
    )


def _mark(inspection: Inspection, kind: Kind, mark: record.Mark, about: str) -> MarkFact:
    zone, margins = kind.zones[mark.zone], dict[str, float]()
    width = _judged(inspection, "width_mm", mark.width_mm, margins)
    seen_less_than_wide = (
        width is not None
        and mark.visibility is not UNSET
        and mark.visibility < measures.implied_visibility(width)
    )
    return MarkFact(
        about=about,
        open=_open_fields(("visibility", seen_less_than_wide)),
        margins=margins,
        zone=mark.zone,
        seen=zone.seen,
        material=zone.material,
        kind=mark.kind,
        length_mm=_judged(inspection, "length_mm", mark.length_mm, margins),
        width_mm=width,
        area_mm2=_judged(inspection, "area_mm2", mark.area_mm2, margins),
        depth=_known(mark.depth),
        visibility=_known(mark.visibility),
        resolvable_from_mm=measures.resolvable_from_mm(width) if width else None,
    )


def _displays(
    inspection: Inspection, kind: Kind, works: Works, out: dict[str, str]
) -> tuple[DisplayFact, ...]:
    return tuple(
        _display(inspection, which, works)
        for which, display in kind.displays.items()
        if not out.keys() & set(display.carried_by)
    )


def _display(inspection: Inspection, which: str, works: Works) -> DisplayFact:
    touched = works.rereading("displays")
    kept, stale, about = _kept(inspection, "displays", which, inspection.displays or (), touched)
    pixels = [_pixel_faults(display) for display in kept]
    return DisplayFact(
        about=about,
        open=_stale_fields(DisplayFact, stale)
        | _open_fields(("fault_class", any(not whole for _, _, whole in pixels))),
        shaky=not works.whole,
        which=which,
        fault_class=_worst((c for c, _, _ in pixels), max),
        faults=_worst((n for _, n, _ in pixels), max),
        lines=_worst((_known(d.lines) for d in kept), max),
        burn_in=_worst_word((_known(d.burn_in) for d in kept), get_args(record.BurnIn)),
        spots=_worst_word((_known(d.spots) for d in kept), get_args(record.Spots)),
    )


def _pixel_faults(display: record.Display) -> tuple[int | None, int | None, bool]:
    """Fault class, number of faults, and whether every count that they need is recorded."""
    counts = (display.bright, display.dark, display.subpixel_lit, display.subpixel_dark)
    if all(count is UNSET for count in counts):
        return None, None, False
    lit, dark, sub_lit, sub_dark = (count or 0 for count in counts)
    whole = UNSET not in counts
    number = lit + dark + sub_lit + sub_dark
    if display.px is UNSET:
        return (0 if number == 0 else None), number, whole
    fault_class = measures.pixel_fault_class(
        display.px, lit=lit, dark=dark, subpixel_lit=sub_lit, subpixel_dark=sub_dark
    )
    return fault_class, number, whole


# --- several readings become one ---------------------------------------------------------------


def _kept(
    inspection: Inspection,
    name: str,
    which: str,
    readings: Sequence[Reading],
    touched: list[Done],
) -> tuple[list[Reading], bool, str]:
    """The readings of one battery or display that still say something, whether all are stale,
    and the path to them.

    A part fitted in between retires the readings before it once there is one after it; any other
    work only makes them stale, so that work alone never makes a bad reading go away.
    """
    mine = [(i, r) for i, r in enumerate(readings) if r.which == which]
    fitted = [work for work in touched if work.fitted]

    def fresh(reading: Reading, works: list[Done]) -> bool:
        on = inspection.inspected_on if reading.read_on is UNSET else reading.read_on
        return stands(on, reading.stage, works)

    after = [(i, r) for i, r in mine if fresh(r, fitted)]
    kept = after or mine
    about = f"{name}[{kept[0][0]}]" if len(kept) == 1 else f"{name}[{which}]"
    stale = not any(fresh(r, touched) for _, r in kept)
    return [r for _, r in kept], bool(kept) and stale, about


def _stale_fields(fact: type[DisplayFact] | type[BatteryFact], stale: bool) -> frozenset[str]:
    return frozenset(fact.__struct_fields__) if stale else frozenset()


def _worst(values: Iterable[T | None], pick: Callable[[list[T]], T]) -> T | None:
    known = [value for value in values if value is not None]
    return pick(known) if known else None


def _worst_word(values: Iterable[T | None], order: tuple[T, ...]) -> T | None:
    known = [order.index(value) for value in values if value is not None]
    return order[max(known)] if known else None


# --- tests and symptoms ------------------------------------------------------------------------


def _tests(inspection: Inspection, kind: Kind, works: Works) -> tuple[TestFact, ...]:
    return tuple(
        _test(inspection, name, function, which, works)
        for name, function in kind.functions.items()
        if _may_have(inspection, function.if_present)
        for which in function.which or (None,)
    )


def _test(
    inspection: Inspection, name: str, function: Function, which: str | None, works: Works
) -> TestFact:
    found = _findings(inspection, name, function, which)
    real = [f for f in found if f.result in _RESULTS]
    last = max(found, key=lambda f: f.order, default=None)
    best = max(real, key=lambda f: f.order, default=None)
    cancelled = best is not None and not stands(best.on, best.stage, works.touching(name))
    not_tested_since = last is not None and last.result not in _RESULTS
    return TestFact(
        about=f"tests[{name}.{which}]" if which else f"tests[{name}]",
        open=_open_fields(("result", best is not None and (cancelled or not_tested_since))),
        shaky=not works.whole,
        function=name,
        which=which,
        need=function.need,
        result=None if best is None else best.result,  # type: ignore[arg-type]
        cancelled=cancelled,
        why=next((f.why for f in reversed(found) if f.why), None),
    )


class _Finding(msgspec.Struct, frozen=True):
    result: record.Result
    on: date
    stage: record.Stage | UnsetType
    why: str | None = None

    @property
    def order(self) -> tuple[date, int, int]:
        """Later days last, later stages last, and of a tie the worse result last."""
        stage = -1 if self.stage is UNSET else _STAGES.index(self.stage)
        worst = _RESULTS.index(self.result) if self.result in _RESULTS else -1
        return self.on, stage, worst


def _findings(
    inspection: Inspection, name: str, function: Function, which: str | None
) -> list[_Finding]:
    """Everything the record says of one function, from whole lists and from single tests."""
    day = inspection.inspected_on
    runs = [
        _Finding(run.result, run.on or day, run.stage)
        for run in inspection.test_runs or ()
        if name not in run.but and (run.list in ("all", function.need))
    ]
    return runs + [
        _Finding(test.result, test.on or day, test.stage, _known(test.why))
        for test in inspection.tests or ()
        if test.function == name and (test.which is UNSET or which in (None, test.which))
    ]


def _symptoms(inspection: Inspection, works: Works) -> tuple[SymptomFact, ...]:
    intake = inspection.intake
    symptoms = () if intake is UNSET else intake.symptoms or ()
    return tuple(
        SymptomFact(
            about=f"intake.symptoms[{i}]",
            function=symptom.function,
            outcome=_known(symptom.outcome),
            fixed_by_work=bool(works.touching(symptom.function)),
        )
        for i, symptom in enumerate(symptoms)
    )


# --- parts, work, signs ------------------------------------------------------------------------


def _signs(inspection: Inspection, kind: Kind) -> tuple[SignFact, ...]:
    return tuple(
        SignFact(
            about=f"signs[{i}]",
            sign=sign.sign,
            where=_known(sign.where),
            area=None if sign.where is UNSET else kind.area_of(sign.where),
            earlier_work=kind.signs[sign.sign].earlier_work,
        )
        for i, sign in enumerate(inspection.signs or ())
    )


def _parts(inspection: Inspection, kind: Kind, signs: tuple[SignFact, ...]) -> tuple[PartFact, ...]:
    signed = {sign.area for sign in signs if sign.earlier_work}
    signs_open = open_list(inspection, "signs")
    return tuple(
        _part(part, kind.parts[part.part].area, f"parts[{i}]", signed, signs_open)
        for i, part in enumerate(inspection.parts or ())
    )


def _part(
    part: record.Part, area: str, about: str, signed: set[str | None], signs_open: bool
) -> PartFact:
    standing, is_open = _standing(part)
    if standing == "claimed_original" and part.fitted_by in (UNSET, "owner", "previous_unknown"):
        if area in signed or None in signed:
            standing = "unknown"
        is_open = is_open or signs_open
    return PartFact(
        about=about,
        open=_open_fields(("standing", is_open)),
        part=part.part,
        area=area,
        standing=standing,
        origin=_known(part.origin),
        fitted_by=_known(part.fitted_by),
        used=_known(part.used),
        device_says=None if part.device_says == "not_looked" else _known(part.device_says),
        lost=None if part.lost is UNSET else len(part.lost),
        on=_known(part.on),
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


def _repairs(inspection: Inspection, kind: Kind) -> tuple[RepairFact, ...]:
    return tuple(
        RepairFact(
            about=f"repairs[{i}]",
            work=repair.work,
            level=_known(repair.level),
            by=_known(repair.by),
            practice=_known(repair.practice),
            accepted=_accepted(repair, kind.works[repair.work].acceptance),
            on=_known(repair.on),
        )
        for i, repair in enumerate(inspection.repairs or ())
    )


def _accepted(repair: record.Repair, laid_down: tuple[str, ...]) -> bool | None:
    """Every check that the kind lays down was passed; where none is laid down, none can be."""
    if repair.acceptance is UNSET:
        return None
    return bool(laid_down) and set(laid_down) <= set(repair.acceptance)


# --- batteries ---------------------------------------------------------------------------------


def _batteries(
    inspection: Inspection, kind: Kind, works: Works, out: dict[str, str], on: date
) -> tuple[BatteryFact, ...]:
    return tuple(
        _battery(inspection, which, works, kind.cycle_line, on)
        for which, battery in kind.batteries.items()
        if _may_have(inspection, battery.if_present) and not out.keys() & set(battery.carried_by)
    )


def _battery(
    inspection: Inspection, which: str, works: Works, cycle_line: int | None, on: date
) -> BatteryFact:
    touched = works.rereading(f"batteries[{which}]")
    kept, stale, about = _kept(inspection, "batteries", which, inspection.batteries or (), touched)
    margins: dict[str, float] = {}
    health, health_from = _health(inspection, kept, margins)
    cycles = _worst((_known(b.cycles) for b in kept), max)
    return BatteryFact(
        about=about,
        open=_stale_fields(BatteryFact, stale),
        shaky=not works.whole,
        margins=margins,
        which=which,
        state=_worst_word((_known(b.state) for b in kept), _BATTERY_STATES),
        health_pct=health,
        health_from=health_from,
        cycles=cycles,
        cycle_line_pct=None if cycles is None or not cycle_line else 100 * cycles / cycle_line,
        run_time_pct=_run_time(inspection, kept, margins),
        shuts_down=_worst((_known(b.shuts_down) for b in kept), max),
        too_good=_too_good(inspection, kept, on),
        watt_hours=_worst((_watt_hours(b) for b in kept), max),
    )


# From what can be sold on to what can hurt; the words themselves carry no order in the record.
_BATTERY_STATES: tuple[record.BatteryState, ...] = (
    "ok",
    "worn",
    "not_readable",
    "none",
    "removed",
    "dented",
    "swollen",
    "leaking",
)


def _health(
    inspection: Inspection, kept: list[record.Battery], margins: dict[str, float]
) -> tuple[float | None, Measured | None]:
    """The worst health of all readings, each at the unfavourable end of its uncertainty."""
    readings: list[tuple[float, float, Measured]] = []
    for battery in kept:
        if battery.full_charge_mah is not UNSET and battery.rated_mah is not UNSET:
            margin = _margin(inspection, "full_charge_mah")
            low = max(battery.full_charge_mah - margin, 0.0)
            health = measures.health_pct(low, battery.rated_mah)
            measured = battery.source in ("meter", "run_down")
            source: Measured = "measured" if measured else "read_from_device"
            readings.append((health, measures.health_pct(margin, battery.rated_mah), source))
        if battery.reported_health_pct is not UNSET:
            margin = _margin(inspection, "reported_health_pct")
            low = max(battery.reported_health_pct - margin, 0.0)
            readings.append((low, margin, "read_from_device"))
    if not readings:
        return None, None
    health, margin, source = min(readings)
    if margin:
        margins["health_pct"] = margin
    return health, source


def _run_time(
    inspection: Inspection, kept: list[record.Battery], margins: dict[str, float]
) -> float | None:
    margin = _margin(inspection, "run_time_min")
    shares = [
        (100 * max(b.run_time_min - margin, 0.0) / b.claimed_run_time_min, b.claimed_run_time_min)
        for b in kept
        if b.run_time_min is not UNSET and b.claimed_run_time_min is not UNSET
    ]
    if not shares:
        return None
    share, claim = min(shares)
    if margin:
        margins["run_time_pct"] = 100 * margin / claim
    return share


def _too_good(inspection: Inspection, kept: list[record.Battery], on: date) -> bool | None:
    year = inspection.device.year
    if year is UNSET or not kept or any(b.reported_health_pct is UNSET for b in kept):
        return None
    old = on.year - year >= QUESTIONABLE_AFTER_YEARS
    fresh = any(b.reported_health_pct >= 100 or b.cycles == 0 for b in kept)  # type: ignore[operator]
    return old and fresh


def _watt_hours(battery: record.Battery) -> float | None:
    if battery.rated_mah is UNSET or battery.nominal_v is UNSET:
        return None
    return measures.watt_hours(battery.rated_mah, battery.nominal_v)


# --- may it be sold at all ---------------------------------------------------------------------


def _clearance(
    inspection: Inspection, kind: Kind, works: Works, out: dict[str, str], on: date
) -> tuple[ClearanceFact, ...]:
    checks = inspection.clearance or {}
    return tuple(
        _cleared(inspection, name, checks.get(name), works, on)
        for name, clearance in kind.clearances.items()
        if _may_have(inspection, clearance.if_present)
        and not out.keys() & set(clearance.carried_by)
    )


def _cleared(
    inspection: Inspection, name: str, check: record.Check | None, works: Works, on: date
) -> ClearanceFact:
    about = f"clearance.{name}"
    if check is None or check.result == "not_checked" or check.result == "not_applicable":
        return ClearanceFact(about=about, check=name, shaky=not works.whole)
    checked = inspection.inspected_on if check.checked_on is UNSET else check.checked_on
    age = (on - checked).days
    stale = not 0 <= age <= CHECK_DAYS or not stands(checked, check.stage, works.rereading(about))
    return ClearanceFact(
        about=about,
        open=_open_fields(("result", stale)),
        shaky=not works.whole,
        check=name,
        result=check.result,
        age_days=age,
    )


def _erasure(
    inspection: Inspection, kind: Kind, works: Works, out: dict[str, str]
) -> tuple[ErasureFact, ...]:
    if kind.storage is None or out.keys() & {"storage", *kind.storage.carried_by}:
        return ()
    erasure = inspection.erasure
    if erasure is UNSET:
        return (ErasureFact(about="erasure", shaky=not works.whole),)
    done_on = inspection.inspected_on if erasure.on is UNSET else erasure.on
    stale = not stands(done_on, erasure.stage, works.rereading("erasure"))
    return (
        ErasureFact(
            about="erasure",
            open=_open_fields(*((name, stale) for name in ("method", "level", "verified"))),
            shaky=not works.whole,
            method=_known(erasure.method),
            level=_reached(erasure),
            verified=_known(erasure.verified),
        ),
    )


def _reached(erasure: record.Erasure) -> record.ErasureLevel | None:
    """The level claimed, but no better than its method can reach."""
    claimed: record.ErasureLevel | None = _known(erasure.level)
    if erasure.method is UNSET:
        return claimed
    reach = _REACH[erasure.method]
    return reach if claimed is None else max(claimed, reach, key=_LEVELS.index)


def _identity(inspection: Inspection, kind: Kind, works: Works) -> tuple[IdentityFact, ...]:
    if not kind.identifiers:
        return ()
    identifiers = inspection.device.identifiers or ()
    places = {i.seen_on for i in identifiers if i.seen_on is not UNSET}
    swapped = works.rereading("device.identifiers")
    return (
        IdentityFact(
            about="device.identifiers",
            open=_open_fields(("agree", bool(swapped)), ("places", bool(swapped))),
            shaky=not works.whole,
            agree=_agree(identifiers) if identifiers else None,
            places=len(places) if identifiers else None,
        ),
    )


def _agree(identifiers: Sequence[record.Identifier]) -> bool:
    """No two places show numbers of one type without a number in common."""
    seen: dict[tuple[str, str], list[measures.IdentifierReading]] = {}
    for identifier in identifiers:
        place = str(identifier.seen_on)
        reading = measures.read_identifier(identifier.type, identifier.value)
        seen.setdefault((reading.type, place), []).append(reading)
    return all(
        any(measures.same_identity(a, b) for a in ours for b in theirs)
        for (type_a, _), ours in seen.items()
        for (type_b, _), theirs in seen.items()
        if type_a == type_b
    )


def _accessories(inspection: Inspection, kind: Kind) -> tuple[AccessoryFact, ...]:
    """Only what goes with the unit can help or hurt its buyer."""
    return tuple(
        AccessoryFact(
            about=f"accessories[{i}]",
            item=accessory.item,
            mains=kind.accessories[accessory.item].mains,
            origin=None if accessory.origin == "unknown" else _known(accessory.origin),
            used=_known(accessory.used),
            tested=_known(accessory.tested),
            mains_check=_known(accessory.mains_check),
        )
        for i, accessory in enumerate(inspection.accessories or ())
        if accessory.included
    )
