"""SUBJECTS: the words that rules may look at, item by item.

It stands between the record and the rulebook: ``facts`` fills these structs from a record, and
``rules`` checks every condition against their fields. It holds declarations only: which fields
there are, their words in order, and which way each gets worse.

Three states of a field. *Known*: a value that stands. *Open with a value*: what is known so far,
which a look or a test may still change (a test made before the repair, an origin without
evidence). *None*: nothing is known. ``shaky`` items are known now but would turn open if a list
of works that was never recorded turned out to hold some.
"""

from datetime import date
from typing import Annotated, Literal

import msgspec

from gradekit import inspection as record
from gradekit.inspection import worse
from gradekit.kinds import Level, Need, Seen

Standing = Literal[
    "maker_supplied",
    "authorised_supplied",
    "original_confirmed",
    "claimed_original",
    "reworked",
    "aftermarket",
    "unknown",
    "suspected_counterfeit",
]
"""The strongest thing that may honestly be said of a part, best first."""

Water = Literal["as_rated_unopened", "leak_tested", "not_assured", "not_sealed"]
"""What an IP rating still means, best first. None of these says that it still holds."""

Measured = Literal["measured", "read_from_device"]


class Fact(msgspec.Struct, frozen=True, kw_only=True):
    """One thing that rules look at; ``about`` is its path into the record."""

    about: str
    open: frozenset[str] = frozenset()
    shaky: bool = False
    margins: dict[str, float] = {}
    """Stated uncertainty by field; the field's value is already its unfavourable end."""


class UnitFact(Fact, frozen=True, kw_only=True):
    """The unit as a whole. List names are True when that list is recorded to the end."""

    cleaned: Annotated[bool | None, worse("false", "Cleaned before the looks were judged")] = None
    inside_seen: Annotated[bool | None, worse("false", "The inside was looked at")] = None
    sealing: Annotated[record.Sealing | None, worse("later", "Seals as they are now")] = None
    water: Annotated[Water | None, worse("later", "What its IP rating means now")] = None
    opened: Annotated[bool | None, worse("true", "Opened by anybody, ever")] = None
    earlier_work: Annotated[bool | None, worse("true", "Worked on by somebody unknown")] = None
    powers_on: Annotated[bool | None, worse("false", "Powered on when it came in")] = None
    bought: Literal["working", "untested", "as_faulty"] | None = None
    network_lock: Literal["none", "locked"] | None = None
    updates_left_months: Annotated[int | None, worse("less", "Months of updates to come")] = None
    marks: bool | None = None
    displays: bool | None = None
    tests: bool | None = None
    parts: bool | None = None
    repairs: bool | None = None
    missing: bool | None = None
    signs: bool | None = None
    batteries: bool | None = None
    accessories: bool | None = None
    symptoms: bool | None = None


UNIT_PATHS = {
    "water": "sealing",
    "opened": "sealing",
    "earlier_work": "signs",
    "powers_on": "intake.powers_on",
    "bought": "intake.bought",
    "network_lock": "device.network_lock",
    "updates_left_months": "device.updates_until",
    "symptoms": "intake.symptoms",
}
"""Where a field of the unit stands in the record, when not under its own name."""


class MarkFact(Fact, frozen=True, kw_only=True):
    """A mark, with what its zone adds to it."""

    zone: str
    seen: Annotated[Seen, worse("later", "How much the zone is looked at")]
    material: str
    over_cell: bool
    kind: str
    length_mm: Annotated[float | None, worse("more", "Length or diameter, mm")] = None
    width_mm: Annotated[float | None, worse("more", "Width, mm")] = None
    area_mm2: Annotated[float | None, worse("more", "Area, mm²")] = None
    depth: Annotated[record.Depth | None, worse("later", "How deep it goes")] = None
    visibility: Annotated[int | None, worse("more", "From where it is seen, 0 to 3")] = None
    resolvable_from_mm: Annotated[
        float | None, worse("more", "Farthest distance at which its width can be resolved, mm")
    ] = None
    look_again: Annotated[
        bool,
        msgspec.Meta(extra={"caps": False}, description="Recorded less visible than its width is"),
    ] = False


class DisplayFact(Fact, frozen=True, kw_only=True):
    """A display as all of its readings together show it."""

    which: str
    fault_class: Annotated[
        int | None, worse("more", "Pixel-fault class, ISO 9241-307:2008; 5 is beyond IV")
    ] = None
    faults: Annotated[int | None, worse("more", "Faulty pixels and sub-pixels")] = None
    lines: Annotated[int | None, worse("more", "Lines across the picture")] = None
    burn_in: Annotated[record.BurnIn | None, worse("later", "Burnt-in picture")] = None
    spots: Annotated[record.Spots | None, worse("later", "Pressure spots, blotches")] = None


class TestFact(Fact, frozen=True, kw_only=True):
    """A function of the kind, tested or not; every function has one."""

    __test__ = False  # not a test case, whatever a test runner makes of the name

    function: str
    which: str | None = None
    need: Need
    result: Annotated[
        Literal["pass", "partial", "fail"] | None, worse("later", "Last result; open: untested now")
    ] = None
    cancelled: Annotated[bool, worse("true", "Tested, but not since the last work on it")] = False
    why: Annotated[str | None, msgspec.Meta(extra={"caps": False}, description="Free text")] = None
    shows: Annotated[str | None, msgspec.Meta(extra={"caps": False}, description="Free text")] = (
        None
    )


class SymptomFact(Fact, frozen=True, kw_only=True):
    """A fault the unit came in with."""

    function: str
    need: Need
    outcome: Annotated[record.Outcome | None, worse("later", "What became of it")] = None
    fixed_by_work: Annotated[
        bool, msgspec.Meta(extra={"caps": False}, description="Some recorded work covers it")
    ] = False


class PartFact(Fact, frozen=True, kw_only=True):
    """A fitted part and the standing its evidence supports."""

    part: str
    area: str
    standing: Annotated[Standing | None, worse("later", "What may be said of it")] = None
    origin: Annotated[record.Origin | None, worse("later", "Where it came from, as told")] = None
    fitted_by: Annotated[record.Hand | None, worse("later", "Who fitted it")] = None
    used: bool | None = None
    device_says: record.DeviceSays | None = None
    lost: Annotated[int | None, worse("more", "Functions it no longer offers")] = None
    lost_functions: tuple[str, ...] = ()
    visible: bool
    cell: bool
    small: bool
    vital: bool
    on: date | None = None


class RepairFact(Fact, frozen=True, kw_only=True):
    """A piece of work and whether its acceptance is complete."""

    work: str
    level: Annotated[Level | None, worse("later", "How deep the work went")] = None
    by: Annotated[record.Hand | None, worse("later", "Who did it")] = None
    practice: Annotated[record.Practice | None, worse("later", "Practice in this technique")] = None
    accepted: Annotated[
        bool | None, worse("false", "Every acceptance check laid down was passed")
    ] = None
    on: date | None = None


class SignFact(Fact, frozen=True, kw_only=True):
    """A sign and the area it lies in."""

    sign: str
    where: str | None = None
    area: str | None = None
    earlier_work: Annotated[bool, worse("true", "Somebody opened the unit before")]
    cell: Annotated[bool, worse("true", "Tells of a failing cell")]
    inside_seen: Annotated[bool | None, worse("false", "The inside was looked at")] = None


class BatteryFact(Fact, frozen=True, kw_only=True):
    """A battery as all of its readings together show it."""

    which: str
    vital: bool = True
    state: record.BatteryState | None = None
    health_pct: Annotated[float | None, worse("less", "Full charge to rated capacity, %")] = None
    health_from: Annotated[
        Measured | None,
        msgspec.Meta(extra={"caps": False}, description="How the worst reading was taken"),
    ] = None
    cycles: Annotated[int | None, worse("more", "Full cycles")] = None
    cycle_line_pct: Annotated[
        float | None, worse("more", "Cycles in per cent of the published endurance line")
    ] = None
    run_time_pct: Annotated[float | None, worse("less", "Run time to the maker's claim, %")] = None
    shuts_down: Annotated[bool | None, worse("true", "Switches off with charge left")] = None
    too_good: Annotated[
        bool | None,
        msgspec.Meta(
            extra={"caps": False},
            description="Full health or no cycles on a device years old: a question",
        ),
    ] = None
    watt_hours: Annotated[float | None, worse("more", "Nominal V × rated Ah")] = None


class ClearanceFact(Fact, frozen=True, kw_only=True):
    """A check that the unit may be sold, as it stands on the day of the assessment."""

    check: str
    result: Literal["clear", "found", "no_list_here"] | None = None
    age_days: Annotated[int | None, worse("more", "Days since the check")] = None


class ErasureFact(Fact, frozen=True, kw_only=True):
    """The removal of earlier users' data."""

    method: record.ErasureMethod | None = None
    level: Annotated[record.ErasureLevel | None, worse("later", "What the method reaches")] = None
    verified: Annotated[bool | None, worse("false", "Looked at afterwards")] = None


class IdentityFact(Fact, frozen=True, kw_only=True):
    """Whether the unit's numbers agree."""

    agree: Annotated[bool | None, worse("false", "Numbers read in several places agree")] = None
    places: Annotated[int | None, worse("less", "Places where a number was read")] = None


class AccessoryFact(Fact, frozen=True, kw_only=True):
    """Something that goes with the unit."""

    item: str
    mains: bool
    tried: bool
    worn: bool
    origin: Literal["original", "compatible"] | None = None
    used: bool | None = None
    tested: Annotated[bool | None, worse("false", "Tried with this unit")] = None
    mains_check: Annotated[Literal["pass", "fail"] | None, worse("later", "Mains safety check")] = (
        None
    )


class MissingFact(Fact, frozen=True, kw_only=True):
    """A part that lacks."""

    part: str
    visible: bool
    cell: bool
    small: bool
    vital: bool


class RemovedFact(Fact, frozen=True, kw_only=True):
    """A part that was taken out."""

    part: str
    visible: bool
    cell: bool
    small: bool
    vital: bool


class Facts(msgspec.Struct, frozen=True, kw_only=True):
    """All facts of one unit by subject; ``open_subjects`` are lists that may hold more."""

    unit: tuple[UnitFact, ...]
    marks: tuple[MarkFact, ...]
    displays: tuple[DisplayFact, ...]
    tests: tuple[TestFact, ...]
    symptoms: tuple[SymptomFact, ...]
    parts: tuple[PartFact, ...]
    repairs: tuple[RepairFact, ...]
    signs: tuple[SignFact, ...]
    batteries: tuple[BatteryFact, ...]
    clearance: tuple[ClearanceFact, ...]
    erasure: tuple[ErasureFact, ...]
    identity: tuple[IdentityFact, ...]
    accessories: tuple[AccessoryFact, ...]
    missing: tuple[MissingFact, ...]
    removed: tuple[RemovedFact, ...]
    open_subjects: frozenset[str]


SUBJECTS: dict[str, type[Fact]] = {
    "unit": UnitFact,
    "marks": MarkFact,
    "displays": DisplayFact,
    "tests": TestFact,
    "symptoms": SymptomFact,
    "parts": PartFact,
    "repairs": RepairFact,
    "signs": SignFact,
    "batteries": BatteryFact,
    "clearance": ClearanceFact,
    "erasure": ErasureFact,
    "identity": IdentityFact,
    "accessories": AccessoryFact,
    "missing": MissingFact,
    "removed": RemovedFact,
}
"""What a rule's ``subject`` may name."""


def open_fields(*fields: tuple[str, bool]) -> frozenset[str]:
    """The names of those fields that are open."""
    return frozenset(name for name, is_open in fields if is_open)
