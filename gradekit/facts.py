"""FACTS: from a record to what it amounts to.

It stands between the record and the rulebook: later work has cancelled what it touched, several
readings have become one, and each part has the standing its evidence supports. It gives no
verdicts, and it never fills a silence: what is not known stays None or is marked open.
"""

from collections.abc import Callable, Sequence
from datetime import date
from typing import Any, Literal, NamedTuple, TypeVar, get_args

import msgspec
from msgspec import UNSET, UnsetType

from gradekit import inspection as record
from gradekit import measures
from gradekit.clearances import clearance_of, erasure_of, identity_of
from gradekit.inspection import Inspection, known, margin_of, may_have
from gradekit.kinds import Accessory, Function, Kind, Part
from gradekit.readings import batteries_of, displays_of
from gradekit.standings import cell_left, parts_of, repairs_of, signs_of
from gradekit.subjects import (
    AccessoryFact,
    Fact,
    Facts,
    MarkFact,
    MissingFact,
    RemovedFact,
    SignFact,
    SymptomFact,
    TestFact,
    UnitFact,
    Water,
    open_fields,
)
from gradekit.works import Works, open_list, stands, timeline

STORAGE_GONE = ("storage_removed", "destroyed")
"""Methods of erasure that take the storage out."""

_RESULTS = ("pass", "partial", "fail")
_ALL_RESULTS: tuple[record.Result, ...] = get_args(record.Result)
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


class Ground(NamedTuple):
    """What the facts of every subject are worked out from."""

    inspection: Inspection
    kind: Kind
    on: date
    works: Works
    out: dict[str, str]
    signs: tuple[SignFact, ...]


def ground_of(inspection: Inspection, kind: Kind, on: date) -> Ground:
    """Lay the ground: the works, what was taken out, and the signs that other facts rest on."""
    out = taken_out(inspection, kind)
    signs = signs_of(inspection, kind, out)
    return Ground(inspection, kind, on, timeline(inspection, kind), out, signs)


def establish(inspection: Inspection, kind: Kind, on: date) -> Facts:
    """Work out what the record amounts to on the day of the assessment."""
    ground = ground_of(inspection, kind, on)
    facts: dict[str, Any] = {subject: work_out(ground) for subject, work_out in FACTS_OF.items()}
    return Facts(**facts, open_subjects=open_lists(inspection, kind))


FACTS_OF: dict[str, Callable[[Ground], tuple[Fact, ...]]] = {
    "unit": lambda g: (unit_of(g.inspection, g.kind, g.signs, g.works, g.on),),
    "marks": lambda g: marks_of(g.inspection, g.kind, g.out),
    "displays": lambda g: displays_of(g.inspection, g.kind, g.works, g.out),
    "tests": lambda g: tests_of(g.inspection, g.kind, g.works),
    "symptoms": lambda g: symptoms_of(g.inspection, g.kind, g.works),
    "parts": lambda g: parts_of(g.inspection, g.kind, g.signs),
    "repairs": lambda g: repairs_of(g.inspection, g.kind),
    "signs": lambda g: g.signs,
    "batteries": lambda g: batteries_of(g.inspection, g.kind, g.works, g.out, g.on),
    "clearance": lambda g: clearance_of(g.inspection, g.kind, g.works, g.out, g.on),
    "erasure": lambda g: erasure_of(g.inspection, g.kind, g.works, g.out),
    "identity": lambda g: identity_of(g.inspection, g.kind, g.works),
    "accessories": lambda g: accessories_of(g.inspection, g.kind),
    "missing": lambda g: missing_of(g.inspection, g.kind),
    "removed": lambda g: removed_of(g.kind, g.out),
}
"""How the facts of each subject are worked out."""


Absent = TypeVar("Absent", MissingFact, RemovedFact)

_STORAGE = Part(area="inside", vital=True)
"""What an erasure by taking the storage out takes out, whatever part of the kind carries it."""


def _absent(fact: type[Absent], kind: Kind, part: str, about: str) -> Absent:
    what = kind.parts.get(part, _STORAGE)
    return fact(
        about=about,
        part=part,
        visible=what.visible,
        cell=what.cell,
        small=what.small,
        vital=what.vital,
    )


def missing_of(inspection: Inspection, kind: Kind) -> tuple[MissingFact, ...]:
    """Every part that lacks."""
    lacking = enumerate(inspection.missing or ())
    return tuple(_absent(MissingFact, kind, part, f"missing[{i}]") for i, part in lacking)


def removed_of(kind: Kind, out: dict[str, str]) -> tuple[RemovedFact, ...]:
    """Every part that is out."""
    return tuple(_absent(RemovedFact, kind, part, about) for part, about in out.items())


def open_lists(inspection: Inspection, kind: Kind) -> frozenset[str]:
    """Lists that may hold more; what the kind cannot have is never open."""
    cannot = {name for name in ("displays", "batteries") if not getattr(kind, name)}
    return frozenset(n for n in _LISTS if n not in cannot and open_list(inspection, n))


def taken_out(inspection: Inspection, kind: Kind) -> dict[str, str]:
    """Parts that are out, with the path that says so. Nothing recorded: nothing was taken out."""
    out = {part: f"removed[{i}]" for i, part in enumerate(inspection.removed or ())}
    erasure = inspection.erasure
    gone = erasure is not UNSET and erasure.method in STORAGE_GONE
    if kind.storage and gone and not out.keys() & set(kind.storage.carried_by):
        out["storage"] = "erasure.method"
    return out


def _judged(
    inspection: Inspection, field: str, value: float | UnsetType, margins: dict[str, float]
) -> float | None:
    """A length, area or count at the unfavourable end of its stated uncertainty (JCGM 106)."""
    if value is UNSET:
        return None
    if margin := margin_of(inspection, field):
        margins[field] = margin
    return value + margin


# --- the unit ----------------------------------------------------------------------------------


def unit_of(
    inspection: Inspection, kind: Kind, signs: tuple[SignFact, ...], works: Works, on: date
) -> UnitFact:
    """The unit as a whole."""
    intake, device = inspection.intake, inspection.device
    opened = _opened(inspection, signs, works)
    presumed = opened is None and inspection.sealing == "unknown"
    opened = True if presumed else opened
    sealing: record.Sealing | None = known(inspection.sealing)
    overruled = sealing == "unopened" and opened is True
    sealing = "unknown" if overruled else sealing
    doubtful = overruled or sealing is None or (sealing == "unopened" and opened is None)
    still_open = open_lists(inspection, kind)
    lists: dict[str, Any] = {name: None if name in still_open else True for name in _LISTS}
    return UnitFact(
        about="",
        open=open_fields(("sealing", doubtful), ("water", doubtful), ("opened", presumed)),
        cleaned=known(inspection.cleaned),
        inside_seen=known(inspection.inside_seen),
        sealing=sealing,
        water=None if device.ip_rating is UNSET else _water(sealing, opened),
        opened=opened,
        earlier_work=_earlier_work(inspection, signs, works),
        powers_on=None if intake is UNSET else known(intake.powers_on),
        bought=None if intake is UNSET else known(intake.bought),
        network_lock=_network_lock(inspection, kind),
        updates_left_months=_months_left(device.updates_until, on),
        **lists,
    )


def _network_lock(inspection: Inspection, kind: Kind) -> Literal["none", "locked"] | None:
    """A unit without the means to reach a network cannot be locked to one."""
    if kind.network is None or not may_have(inspection, kind.network):
        return "none"
    said = inspection.device.network_lock
    return None if said is UNSET or said == "unknown" else said


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
    told = UNSET not in hands and works.whole and not open_list(inspection, "signs")
    return False if told else None


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


# --- marks --------------------------------------------------------------------------------------


def marks_of(inspection: Inspection, kind: Kind, out: dict[str, str]) -> tuple[MarkFact, ...]:
    """Every mark whose zone is still there."""
    cell_in = cell_left(inspection, kind, out)
    return tuple(
        _mark(inspection, kind, mark, f"marks[{i}]", cell_in)
        for i, mark in enumerate(inspection.marks or ())
        if not out.keys() & set(kind.zones[mark.zone].carried_by)
    )


def _mark(
    inspection: Inspection, kind: Kind, mark: record.Mark, about: str, cell_in: bool
) -> MarkFact:
    zone, margins = kind.zones[mark.zone], dict[str, float]()
    width = _judged(inspection, "width_mm", mark.width_mm, margins)
    return MarkFact(
        about=about,
        margins=margins,
        zone=mark.zone,
        seen=zone.seen,
        material=zone.material,
        over_cell=zone.over_cell and cell_in,
        kind=mark.kind,
        length_mm=_judged(inspection, "length_mm", mark.length_mm, margins),
        width_mm=width,
        area_mm2=_judged(inspection, "area_mm2", mark.area_mm2, margins),
        depth=known(mark.depth),
        visibility=known(mark.visibility),
        resolvable_from_mm=measures.resolvable_from_mm(width) if width is not None else None,
        look_again=width is not None and looks_wider(mark, width),
    )


def looks_wider(mark: record.Mark, width: float) -> bool:
    """A mark of that width in mm would be seen from farther away than was recorded."""
    seen_from = mark.visibility
    return seen_from is not UNSET and seen_from < measures.implied_visibility(width)


# --- tests and symptoms ------------------------------------------------------------------------


def tests_of(inspection: Inspection, kind: Kind, works: Works) -> tuple[TestFact, ...]:
    """Every function that the unit may have, tested or not."""
    return tuple(
        _test(inspection, name, function, which, works)
        for name, function in kind.functions.items()
        if may_have(inspection, function.if_present)
        for which in function.which or (None,)
    )


def _test(
    inspection: Inspection, name: str, function: Function, which: str | None, works: Works
) -> TestFact:
    found = _findings(inspection, name, function, which)
    last = _latest(found)
    best, disputed = _last_result([f for f in found if f.result in _RESULTS])
    cancelled = best is not None and not stands(best.on, best.stage, works.touching(name))
    not_tested_since = last is not None and last.result not in _RESULTS
    result_open = best is not None and (cancelled or not_tested_since or disputed)
    return TestFact(
        about=f"tests[{name}.{which}]" if which else f"tests[{name}]",
        open=open_fields(
            ("result", result_open),
            ("cancelled", cancelled or best is None or not works.whole),
        ),
        shaky=not works.whole,
        function=name,
        which=which,
        need=function.need,
        result=None if best is None else best.result,  # type: ignore[arg-type]
        cancelled=cancelled,
        why=None if last is None else last.why,
        shows=None if best is None else best.shows,
    )


def _last_result(found: Sequence["_Finding"]) -> tuple["_Finding | None", bool]:
    """The result that counts, and whether another of that day may be the later one.

    Findings of a day that all lack a stage were made together. One that lacks it beside others
    that have it may have been made at any time of the day, so the worse of them counts.
    """
    last = _latest(found)
    if last is None or len(found) == 1:
        return last, False
    unstaged = [f for f in found if f.on == last.on and f.stage is UNSET]
    disputed = last.stage is not UNSET and any(f.result != last.result for f in unstaged)
    return max([last, *unstaged], key=lambda f: _RESULTS.index(f.result)), disputed


def _latest(found: Sequence["_Finding"]) -> "_Finding | None":
    return found[0] if len(found) == 1 else max(found, key=lambda f: f.order, default=None)


class _Finding(msgspec.Struct, frozen=True):
    result: record.Result
    on: date
    stage: record.Stage | UnsetType
    why: str | None = None
    shows: str | None = None

    @property
    def order(self) -> tuple[date, int, int]:
        """Later days last, later stages last, and of a tie the worse result last."""
        stage = -1 if self.stage is UNSET else _STAGES.index(self.stage)
        return self.on, stage, _ALL_RESULTS.index(self.result)


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
        _Finding(test.result, test.on or day, test.stage, known(test.why), known(test.shows))
        for test in inspection.tests or ()
        if test.function == name and (test.which is UNSET or which in (None, test.which))
    ]


def symptoms_of(inspection: Inspection, kind: Kind, works: Works) -> tuple[SymptomFact, ...]:
    """Every fault that the unit came in with."""
    intake = inspection.intake
    symptoms = () if intake is UNSET else intake.symptoms or ()
    return tuple(
        SymptomFact(
            about=f"intake.symptoms[{i}]",
            function=symptom.function,
            need=kind.functions[symptom.function].need,
            outcome=known(symptom.outcome),
            fixed_by_work=bool(works.touching(symptom.function)),
        )
        for i, symptom in enumerate(symptoms)
    )


# --- accessories --------------------------------------------------------------------------------


def accessories_of(inspection: Inspection, kind: Kind) -> tuple[AccessoryFact, ...]:
    """Only what goes with the unit can help or hurt its buyer."""
    return tuple(
        _accessory(kind.accessories[accessory.item], accessory, f"accessories[{i}]")
        for i, accessory in enumerate(inspection.accessories or ())
        if accessory.included
    )


def _accessory(what: Accessory, accessory: record.Accessory, about: str) -> AccessoryFact:
    return AccessoryFact(
        about=about,
        item=accessory.item,
        mains=what.mains,
        tried=what.tried,
        worn=what.worn,
        origin=None if accessory.origin == "unknown" else known(accessory.origin),
        used=known(accessory.used),
        tested=known(accessory.tested),
        mains_check=known(accessory.mains_check),
    )
