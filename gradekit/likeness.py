"""LIKENESS: what makes two records alike for one subject, so that one answer serves for both.

It stands between the record and the grader. A likeness holds everything that the facts of a
subject are worked out from, except what no rule of the kind can tell apart: days count only by
where they lie among the days of works, sizes only by the limits they lie between. It works out no
facts and draws no conclusions; what it leaves out wrongly, ``tests/laws/test_grader.py`` finds.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from datetime import date
from itertools import count
from typing import Any

from msgspec import UNSET, UnsetType

from gradekit import inspection as record
from gradekit import measures
from gradekit.clearances import CHECK_DAYS
from gradekit.compiled import Subject, classes, limits, looks_at
from gradekit.facts import FACTS_OF, STORAGE_GONE, Ground, ground_of
from gradekit.inspection import Inspection
from gradekit.kinds import Kind, Opening
from gradekit.works import Done, Works

BARE = ("symptoms", "parts", "repairs", "signs", "accessories", "missing", "removed")
"""Lists that are empty in most records; then all that counts is whether they were recorded."""

_MOST_FEATURES = 4096
"""So many sets of features are numbered; then they get new numbers. None is ever used twice."""

_Work = tuple[bool, str, int, tuple[str, ...]]
"""Fitted or not, the word for it, its place in the order of days, what it fixes."""


class Unit:
    """One record on its way through: what several subjects need, worked out once."""

    __slots__ = (
        "_days",
        "_ground",
        "_kind",
        "has",
        "inspection",
        "on",
        "out",
        "partly",
        "whole",
        "works",
    )

    def __init__(self, inspection: Inspection, kind: Kind, on: date) -> None:
        parts, repairs, partly = inspection.parts, inspection.repairs, inspection.partly
        erasure = inspection.erasure
        self.inspection, self._kind, self.on, self.partly = inspection, kind, on, partly
        self.whole = parts is not UNSET and repairs is not UNSET
        if partly is not UNSET:
            self.whole = self.whole and "parts" not in partly and "repairs" not in partly
        gone = erasure is not UNSET and erasure.method in STORAGE_GONE
        self.out = (inspection.removed or (), gone)
        self.has = 0
        self._ground: Ground | None = None
        self._days: list[date] = []
        self.works = self._in_order(parts or (), repairs or ()) if parts or repairs else ()

    def _in_order(
        self, parts: Sequence[record.Part], repairs: Sequence[record.Repair]
    ) -> tuple[_Work, ...]:
        """Works with their places in time, however many days lie between them."""
        dated: list[tuple[bool, str, date, tuple[str, ...]]]
        dated = [(True, p.part, p.on or date.max, ()) for p in parts]
        dated += [(False, r.work, r.on or date.max, r.fixes or ()) for r in repairs]
        self._days = days = sorted({work[2] for work in dated})
        return tuple([(fitted, word, days.index(on), more) for fitted, word, on, more in dated])

    @property
    def ground(self) -> Ground:
        """What facts are worked out from."""
        if self._ground is None:
            self._ground = ground_of(self.inspection, self._kind, self.on)
        return self._ground

    def when(self, day: date | UnsetType) -> int:
        """Where the day of a finding lies among the days of works."""
        if not self._days:
            return 0
        day = self.inspection.inspected_on if day is UNSET else day
        return bisect_left(self._days, day) + bisect_right(self._days, day)


def placed(value: Any, among: Sequence[float]) -> int:
    """Where a number lies among limits: below, at, between, above; -1 where there is none."""
    if value is UNSET:
        return -1
    return bisect_left(among, value) + bisect_right(among, value)


class Likeness:
    """The likenesses of one kind under its rules: ``of`` holds one function for each subject but
    the marks, which the grader looks up one by one.
    """

    def __init__(self, kind: Kind, subjects: Mapping[str, Subject]) -> None:
        self._kind, self._subjects = kind, subjects
        self._rereads = _rereads(kind)
        # Ages are whole days: half a day apart, no day falls on a limit and is a class by itself.
        self._ages = sorted({-0.5, CHECK_DAYS + 0.5, *limits(subjects["clearance"], "age_days")})
        self._dated = any(looks_at(subjects[name], "on") for name in ("parts", "repairs"))
        self._battery = {
            name: sorted({*also, *limits(subjects["batteries"], name)})
            for name, also in _BATTERY.items()
        }
        self._sources = looks_at(subjects["batteries"], "health_from")
        self._numbers = frozenset(kind.identifiers)
        self._classes = {n: classes(subjects[n]) for n in ("batteries", "identity")}
        self._features: dict[Hashable, int] = {}
        self._numbering = count()
        self.of: dict[str, Callable[[Unit], Hashable]] = {
            "unit": self._unit,
            "displays": self._displays,
            "tests": self._tests,
            "batteries": self._batteries,
            "clearance": self._clearance,
            "erasure": self._erasure,
            "identity": self._identity,
            "symptoms": self._symptoms,
            "parts": self._parts,
            "repairs": self._repairs,
            "signs": self._signs,
            "accessories": self._accessories,
            "missing": lambda unit: (unit.inspection.missing, unit.partly),
            "removed": lambda unit: unit.out,
        }

    def bare(self, unit: Unit) -> tuple[Hashable, ...]:
        """Which of the ``BARE`` lists are empty or silent; None for those with something in."""
        told, intake = unit.inspection, unit.inspection.intake
        symptoms = UNSET if intake is UNSET else intake.symptoms
        lists = (symptoms, told.parts, told.repairs, told.signs, told.accessories, told.missing)
        out = None if any(unit.out) else ()
        return (*[None if there else there for there in lists], out, unit.partly)

    def unit(self, inspection: Inspection, on: date) -> Unit:
        """A record of the kind, ready to be looked up."""
        unit, has = Unit(inspection, self._kind, on), inspection.device.has
        number = self._features.get(has)
        if number is None:
            if len(self._features) >= _MOST_FEATURES:
                self._features.clear()
            number = self._features[has] = next(self._numbering)
        unit.has = number
        return unit

    def _touching(self, unit: Unit, path: str) -> Hashable:
        """Works after which a reading has to be taken again: fitted or not, and when."""
        if not unit.works:
            return ()
        touches = self._rereads[path]
        return tuple([(fit, on) for fit, word, on, _ in unit.works if (fit, word) in touches])

    def _touching_each(self, unit: Unit, name: str) -> Hashable:
        """The same for every display or battery of the kind."""
        every = getattr(self._kind, name)
        return unit.works and tuple([self._touching(unit, f"{name}[{which}]") for which in every])

    def _touching_checks(self, unit: Unit) -> Hashable:
        """The same for all checks together: which work it was tells which of them it touched."""
        touches = self._rereads["clearance"]
        return unit.works and tuple([work[:3] for work in unit.works if work[:2] in touches])

    # --- the unit as a whole ---------------------------------------------------------------------

    def _unit(self, unit: Unit) -> Hashable:
        told, intake, device = unit.inspection, unit.inspection.intake, unit.inspection.device
        until = device.updates_until
        return (
            *(told.sealing, told.inside_seen, told.cleaned, unit.partly, unit.has),
            *(device.ip_rating is UNSET, device.network_lock),
            None if until is UNSET else (until, unit.on.year, unit.on.month),
            intake is UNSET or (intake.powers_on, intake.bought, intake.symptoms is UNSET),
            unit.works and _hands(unit),
            tuple([sign.sign for sign in told.signs or ()]),
            told.tests is UNSET and told.test_runs is UNSET,
            *(told.marks is UNSET, told.displays is UNSET, told.batteries is UNSET),
            *(told.parts is UNSET, told.repairs is UNSET),
            *(told.missing is UNSET, told.accessories is UNSET, told.signs is UNSET),
        )

    # --- readings and tests ----------------------------------------------------------------------

    def _displays(self, unit: Unit) -> Hashable:
        told = unit.inspection.displays
        readings = [
            (
                *(d.which, d.px, d.bright, d.dark, d.subpixel_lit, d.subpixel_dark),
                *(d.lines, d.burn_in, d.spots, unit.when(d.read_on), d.stage),
            )
            for d in told or ()
        ]
        around = (self._touching_each(unit, "displays"), unit.out, unit.has, unit.whole)
        return tuple(readings), around, told is UNSET, unit.partly

    def _tests(self, unit: Unit) -> Hashable:
        told, day = unit.inspection, unit.inspection.inspected_on
        runs, tests = told.test_runs or (), told.tests or ()
        days = [r.on or day for r in runs] + [t.on or day for t in tests]
        return (
            tuple([(r.list, r.but, r.stage) for r in runs]),
            tuple([(t.function, t.which, t.stage, t.result, t.why, t.shows) for t in tests]),
            unit.works and (unit.works, tuple(map(unit.when, days))),
            _in_order(days),
            *(told.test_runs is UNSET, told.tests is UNSET),
            *(unit.has, unit.whole, unit.partly),
        )

    def _batteries(self, unit: Unit) -> Hashable:
        told = unit.inspection
        readings = told.batteries or ()
        single = len(readings) < 2 or len({b.which for b in readings}) == len(readings)
        if not single or (readings and told.uncertainty is not UNSET) or self._sources:
            return self._by_facts("batteries", unit)
        year = told.device.year
        return (
            tuple([self._reading(unit, b) for b in readings]),
            year is UNSET or unit.on.year - year,
            self._touching_each(unit, "batteries"),
            *(unit.out, unit.has, unit.whole, told.batteries is UNSET, unit.partly),
        )

    def _reading(self, unit: Unit, b: record.Battery) -> Hashable:
        """One reading, its values by the limits that rules or facts hold them against."""
        rated, full, volts, cycles = b.rated_mah, b.full_charge_mah, b.nominal_v, b.cycles
        ran, claimed, line = b.run_time_min, b.claimed_run_time_min, self._kind.cycle_line
        health: float | UnsetType = UNSET
        share = run_time = energy = health
        if rated is not UNSET:
            health = UNSET if full is UNSET else measures.health_pct(full, rated)
            energy = UNSET if volts is UNSET else measures.watt_hours(rated, volts)
        if cycles is not UNSET and line:
            share = 100 * cycles / line
        if ran is not UNSET and claimed is not UNSET:
            run_time = 100 * ran / claimed
        among = self._battery
        return (
            *(b.which, b.state, b.stage, b.shuts_down, unit.when(b.read_on)),
            *(rated is UNSET, full is UNSET, placed(health, among["health_pct"])),
            *(placed(b.reported_health_pct, among["health_pct"]), placed(cycles, among["cycles"])),
            *(placed(share, among["cycle_line_pct"]), placed(run_time, among["run_time_pct"])),
            placed(energy, among["watt_hours"]),
        )

    # --- what stands in the way of a sale --------------------------------------------------------

    def _clearance(self, unit: Unit) -> Hashable:
        told, found = unit.inspection, []
        last: date | UnsetType | None = None
        since = when = 0
        for name, check in (told.clearance or {}).items():
            if check.checked_on != last:
                last = check.checked_on
                age = (unit.on - (last or told.inspected_on)).days
                since, when = placed(age, self._ages), unit.when(last)
            found.append((name, check.result, check.stage, since, when))
        return tuple(found), self._touching_checks(unit), unit.has, unit.out, unit.whole

    def _erasure(self, unit: Unit) -> Hashable:
        told = unit.inspection.erasure
        if told is UNSET:
            return unit.out, unit.has, unit.whole
        when = unit.when(told.on)
        made = (told.method, told.level, told.verified, told.stage, when)
        return made, self._touching(unit, "erasure"), unit.out, unit.has, unit.whole

    def _identity(self, unit: Unit) -> Hashable:
        told = [i for i in unit.inspection.device.identifiers or () if i.type in self._numbers]
        numbers = {(i.type, i.value) for i in told}
        if len(numbers) > 1:
            types = {type for type, _ in numbers}
            if len(types) < len(numbers) or types >= _ONE_FAMILY:
                return self._by_facts("identity", unit)
        refused = [n[0] for n in numbers if measures.read_identifier(*n).problem is not None]
        return (
            tuple([(i.type, i.seen_on, i.stage, unit.when(i.read_on)) for i in told]),
            frozenset(refused),
            self._touching(unit, "device.identifiers"),
            unit.whole,
        )

    # --- lists that are mostly empty -------------------------------------------------------------

    def _symptoms(self, unit: Unit) -> Hashable:
        intake = unit.inspection.intake
        told = () if intake is UNSET else intake.symptoms or ()
        return tuple([(s.function, s.outcome) for s in told]), unit.works, unit.partly

    def _parts(self, unit: Unit) -> Hashable:
        told, signs = unit.inspection.parts or (), unit.inspection.signs
        fitted = [
            (
                *(p.part, p.origin, p.fitted_by, p.used, p.evidence, p.device_says, p.lost),
                p.on if self._dated else p.on is UNSET,
            )
            for p in told
        ]
        return tuple(fitted), signs and _places_of(signs), unit.partly

    def _repairs(self, unit: Unit) -> Hashable:
        done = [
            (
                *(r.work, r.level, r.by, r.practice, r.acceptance),
                r.on if self._dated else r.on is UNSET,
            )
            for r in unit.inspection.repairs or ()
        ]
        return tuple(done), unit.partly

    def _signs(self, unit: Unit) -> Hashable:
        told = unit.inspection
        return _places_of(told.signs or ()), told.inside_seen, unit.out, unit.has, unit.partly

    def _accessories(self, unit: Unit) -> Hashable:
        told = [
            (a.item, a.included, a.origin, a.used, a.tested, a.mains_check)
            for a in unit.inspection.accessories or ()
        ]
        return tuple(told), unit.partly

    def _by_facts(self, subject: str, unit: Unit) -> Hashable:
        """For the rare and the intricate: work out the facts, and tell them apart by class."""
        facts = FACTS_OF[subject](unit.ground)
        silent = getattr(unit.inspection, subject, None) is UNSET
        return tuple(map(self._classes[subject], facts)), silent, unit.partly


def _in_order(days: Sequence[date]) -> tuple[int, ...]:
    """Each day's place among them all; nothing where they are the same."""
    several = set(days)
    if len(several) < 2:
        return ()
    order = sorted(several)
    return tuple(map(order.index, days))


def _hands(unit: Unit) -> Hashable:
    """Whose work it was, and what was worked on."""
    told = unit.inspection
    hands = [part.fitted_by for part in told.parts or ()]
    hands += [repair.by for repair in told.repairs or ()]
    return tuple(hands), tuple([work[:2] for work in unit.works])


def _places_of(signs: Iterable[record.Sign]) -> Hashable:
    return tuple([(sign.sign, sign.where) for sign in signs])


_ONE_FAMILY = {"imei", "imeisv"}
"""Types of numbers that are compared with each other; others only with their own type."""

_BATTERY: dict[str, tuple[float, ...]] = {
    "health_pct": (100,),
    "cycles": (0,),
    "cycle_line_pct": (),
    "run_time_pct": (),
    "watt_hours": (),
}
"""Limits of battery readings beside those of the rules: what is too good to be true."""


def _rereads(kind: Kind) -> dict[str, set[tuple[bool, str]]]:
    """For each reading the works (fitted or not, and their word) after which to take it again.

    ``clearance`` stands for all of its checks together.
    """
    openings: list[tuple[bool, str, Opening]]
    openings = [(True, word, part) for word, part in kind.parts.items()]
    openings += [(False, word, work) for word, work in kind.works.items()]
    found: dict[str, set[tuple[bool, str]]] = {"clearance": set()}
    for path in _reread_paths(kind):
        found[path] = {
            (fitted, word)
            for fitted, word, opening in openings
            if Works((Done(word, date.max, opening, fitted, ()),), kind.every_work_rereads, True)
            .rereading(path)
        }  # fmt: skip
        found["clearance"] |= found[path] if path.startswith("clearance.") else set()
    return found


def _reread_paths(kind: Kind) -> list[str]:
    displays = [f"displays[{which}]" for which in kind.displays]
    batteries = [f"batteries[{which}]" for which in kind.batteries]
    checks = [f"clearance.{name}" for name in kind.clearances]
    return ["erasure", "device.identifiers", *displays, *batteries, *checks]
