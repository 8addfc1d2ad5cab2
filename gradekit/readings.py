"""READINGS: displays and batteries, where several readings of one thing become one fact.

It serves the facts: the worse of two readings rules, a stated uncertainty counts at its
unfavourable end, and readings from before the last work that touched the thing are stale. It
gives no verdicts.
"""

from collections.abc import Callable, Iterable, Sequence
from datetime import date
from typing import Any, NamedTuple, TypeVar, get_args

from msgspec import UNSET
from msgspec.structs import replace

from gradekit import inspection as record
from gradekit import measures
from gradekit.inspection import Inspection, known, margin_of, may_have
from gradekit.kinds import Battery, Kind
from gradekit.subjects import BatteryFact, DisplayFact, Measured, open_fields
from gradekit.works import Done, Works, stands

T = TypeVar("T")
Reading = TypeVar("Reading", record.Display, record.Battery)

QUESTIONABLE_AFTER_YEARS = 2
"""From this age on, full health or no cycles at all are a question (common practice)."""

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


def _kept(
    inspection: Inspection,
    name: str,
    which: str,
    readings: Sequence[Reading],
    touched: list[Done],
) -> tuple[list[Reading], list[Reading], str]:
    """The readings of one battery or display that still say something, those of them that no work
    has made stale, and the path to them.

    A part fitted in between retires the readings before it once there is one after it; any other
    work only makes them stale, so that work alone never makes a bad reading go away.
    """
    mine = [(i, r) for i, r in enumerate(readings) if r.which == which]
    if not touched:
        return [r for _, r in mine], [r for _, r in mine], _about(name, which, mine)
    fitted = [work for work in touched if work.fitted]

    def fresh(reading: Reading, works: list[Done]) -> bool:
        on = inspection.inspected_on if reading.read_on is UNSET else reading.read_on
        return stands(on, reading.stage, works)

    after = [(i, r) for i, r in mine if fresh(r, fitted)]
    kept = after or mine
    stands_still = [r for _, r in kept if fresh(r, touched)]
    return [r for _, r in kept], stands_still, _about(name, which, kept)


def _about(name: str, which: str, kept: Sequence[tuple[int, Reading]]) -> str:
    """The path to the one reading, or to all of them together."""
    return f"{name}[{kept[0][0]}]" if len(kept) == 1 else f"{name}[{which}]"


def _stale(values: dict[str, Any], fresh: dict[str, Any]) -> frozenset[str]:
    """Fields that only readings from before the last work tell anything of."""
    if fresh is values:
        return frozenset()
    return frozenset(n for n, value in values.items() if value is not None and fresh[n] is None)


def _worst(values: Iterable[T | None], pick: Callable[[list[T]], T]) -> T | None:
    known = [value for value in values if value is not None]
    return None if not known else known[0] if len(known) == 1 else pick(known)


def _worst_word(values: Iterable[T | None], order: tuple[T, ...]) -> T | None:
    known = [order.index(value) for value in values if value is not None]
    return order[max(known)] if known else None


# --- displays -----------------------------------------------------------------------------------


class _Pixels(NamedTuple):
    """Fault class and number of faults of one reading, and whether each could still be worse."""

    fault_class: int | None
    number: int | None
    class_open: bool
    count_open: bool


def displays_of(
    inspection: Inspection, kind: Kind, works: Works, out: dict[str, str]
) -> tuple[DisplayFact, ...]:
    """One fact for each display the unit may have and that is still in."""
    return tuple(
        _display(inspection, which, works)
        for which, display in kind.displays.items()
        if may_have(inspection, display.if_present) and not out.keys() & set(display.carried_by)
    )


def _display(inspection: Inspection, which: str, works: Works) -> DisplayFact:
    touched = works.rereading(f"displays[{which}]")
    kept, fresh, about = _kept(inspection, "displays", which, inspection.displays or (), touched)
    values = _shown(kept)
    still = values if fresh == kept else _shown(fresh)
    pixels = [_pixel_faults(display) for display in kept]
    open_class = any(p.class_open for p in pixels)
    open_count = any(p.count_open for p in pixels)
    return DisplayFact(
        about=about,
        open=_stale(values, still)
        | open_fields(("fault_class", open_class), ("faults", open_count)),
        shaky=not works.whole,
        which=which,
        **values,
    )


def _shown(readings: list[record.Display]) -> dict[str, Any]:
    """What several readings of one display come to, the worse of each."""
    pixels = [_pixel_faults(display) for display in readings]
    return {
        "fault_class": _worst((p.fault_class for p in pixels), max),
        "faults": _worst((p.number for p in pixels), max),
        "lines": _worst((known(d.lines) for d in readings), max),
        "burn_in": _worst_word((known(d.burn_in) for d in readings), get_args(record.BurnIn)),
        "spots": _worst_word((known(d.spots) for d in readings), get_args(record.Spots)),
    }


def _pixel_faults(display: record.Display) -> _Pixels:
    """Without the number of pixels a fault tells only that the display is not of class 0."""
    counts = (display.bright, display.dark, display.subpixel_lit, display.subpixel_dark)
    if all(count is UNSET for count in counts):
        return _Pixels(None, None, True, True)
    lit, dark, sub_lit, sub_dark = (count or 0 for count in counts)
    lacking, number = UNSET in counts, lit + dark + sub_lit + sub_dark
    if display.px is UNSET:
        return _Pixels(min(number, 1), number, lacking or number > 0, lacking)
    fault_class = measures.pixel_fault_class(
        display.px, lit=lit, dark=dark, subpixel_lit=sub_lit, subpixel_dark=sub_dark
    )
    return _Pixels(fault_class, number, lacking, lacking)


# --- batteries ----------------------------------------------------------------------------------


def batteries_of(
    inspection: Inspection, kind: Kind, works: Works, out: dict[str, str], on: date
) -> tuple[BatteryFact, ...]:
    """One fact for each battery the unit may have and that is still in."""
    return tuple(
        _battery(inspection, which, battery, works, kind.cycle_line, on)
        for which, battery in kind.batteries.items()
        if may_have(inspection, battery.if_present) and not out.keys() & set(battery.carried_by)
    )


def _battery(
    inspection: Inspection,
    which: str,
    what: Battery,
    works: Works,
    cycle_line: int | None,
    on: date,
) -> BatteryFact:
    touched = works.rereading(f"batteries[{which}]")
    kept, fresh, about = _kept(inspection, "batteries", which, inspection.batteries or (), touched)
    margins: dict[str, float] = {}
    values = _told(inspection, kept, cycle_line, on, margins)
    still = values if fresh == kept else _told(inspection, fresh, cycle_line, on, {})
    return BatteryFact(
        about=about,
        open=_stale(values, still)
        | open_fields(("health_pct", any(map(_unrated, _completed(kept))))),
        shaky=not works.whole,
        margins=margins,
        which=which,
        vital=what.vital,
        **values,
    )


_LAID_DOWN = ("rated_mah", "nominal_v", "claimed_run_time_min")


def _completed(readings: list[record.Battery]) -> list[record.Battery]:
    """What the maker laid down is the same in every reading; where two differ, take the more."""
    if len(readings) < 2:
        return readings
    if len(readings) < 2:
        return readings
    worst = {name: _worst((known(getattr(b, name)) for b in readings), max) for name in _LAID_DOWN}
    told = {name: value for name, value in worst.items() if value is not None}
    return [
        replace(b, **{n: value for n, value in told.items() if getattr(b, n) is UNSET})
        for b in readings
    ]


def _unrated(reading: record.Battery) -> bool:
    """A charge that no rated capacity is known for may yet turn out to be the worst reading."""
    return reading.full_charge_mah is not UNSET and reading.rated_mah is UNSET


def _told(
    inspection: Inspection,
    readings: list[record.Battery],
    cycle_line: int | None,
    on: date,
    margins: dict[str, float],
) -> dict[str, Any]:
    """What several readings of one battery come to, the worse of each."""
    readings = _completed(readings)
    health, health_from = _health(inspection, readings, margins)
    cycles = _worst((known(b.cycles) for b in readings), max)
    return {
        "state": _worst_word((known(b.state) for b in readings), _BATTERY_STATES),
        "health_pct": health,
        "health_from": health_from,
        "cycles": cycles,
        "cycle_line_pct": None if cycles is None or not cycle_line else 100 * cycles / cycle_line,
        "run_time_pct": _run_time(inspection, readings, margins),
        "shuts_down": _worst((known(b.shuts_down) for b in readings), max),
        "too_good": _too_good(inspection, readings, on),
        "watt_hours": _worst((_watt_hours(b) for b in readings), max),
    }


def _health(
    inspection: Inspection, kept: list[record.Battery], margins: dict[str, float]
) -> tuple[float | None, Measured | None]:
    """The worst health of all readings, each at the unfavourable end of its uncertainty."""
    readings: list[tuple[float, float, Measured]] = []
    for battery in kept:
        if battery.full_charge_mah is not UNSET and battery.rated_mah is not UNSET:
            margin = margin_of(inspection, "full_charge_mah")
            low = max(battery.full_charge_mah - margin, 0.0)
            health = measures.health_pct(low, battery.rated_mah)
            measured = battery.source in ("meter", "run_down")
            source: Measured = "measured" if measured else "read_from_device"
            readings.append((health, measures.health_pct(margin, battery.rated_mah), source))
        if battery.reported_health_pct is not UNSET:
            margin = margin_of(inspection, "reported_health_pct")
            low = max(battery.reported_health_pct - margin, 0.0)
            readings.append((low, margin, "read_from_device"))
    if not readings:
        return None, None
    health, margin, source = min(readings, key=lambda reading: (reading[0], reading[2]))
    if margin:
        margins["health_pct"] = margin
    return health, source


def _run_time(
    inspection: Inspection, kept: list[record.Battery], margins: dict[str, float]
) -> float | None:
    margin = margin_of(inspection, "run_time_min")
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
    if year is UNSET or not kept:
        return None
    if on.year - year < QUESTIONABLE_AFTER_YEARS:
        return False
    if any(b.cycles == 0 or (known(b.reported_health_pct) or 0) >= 100 for b in kept):
        return True
    silent = any(UNSET in (b.cycles, b.reported_health_pct) for b in kept)
    return None if silent else False


def _watt_hours(battery: record.Battery) -> float | None:
    if battery.rated_mah is UNSET or battery.nominal_v is UNSET:
        return None
    return measures.watt_hours(battery.rated_mah, battery.nominal_v)
