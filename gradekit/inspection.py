"""RECORD: what was seen, measured and done to one unit.

Second in the flow. A record is frozen, strict and silent: an absent field was not looked at, an
empty list was looked at and nothing found, and nothing is ever filled in with a default. It draws
no conclusions: ``records`` reads and refuses, ``facts`` concludes.
"""

from datetime import date
from decimal import Decimal
from typing import Annotated, Literal, TypeVar

import msgspec
from msgspec import UNSET, Meta, UnsetType

from gradekit.kinds import END, Level

T = TypeVar("T")

# Ordered words stand from best to worst; the order of the declaration is the order of the rules.
Result = Literal["pass", "partial", "fail", "not_tested", "not_applicable"]
Stage = Literal["intake", "after_work", "soak"]
Depth = Literal["not_felt", "felt", "through_coat", "through_part"]
BurnIn = Literal["none", "dim_grey", "grey", "in_use"]
Spots = Literal["none", "edge", "centre", "spreading"]
Origin = Literal[
    "maker_new",
    "authorised",
    "pulled",
    "claimed_original",
    "reworked",
    "aftermarket",
    "unknown",
    "suspected_counterfeit",
]
DeviceSays = Literal["verified", "used_genuine", "unknown_part", "nothing", "not_looked"]
Hand = Literal["maker", "authorised", "independent", "in_house", "owner", "previous_unknown"]
Practice = Literal["routine", "learning"]
Outcome = Literal["fixed", "worked_around", "went_away", "not_fixed"]
Sealing = Literal[
    "unopened", "opened_resealed_leak_tested", "opened_resealed", "unknown", "opened_unsealed"
]
BatteryState = Literal[
    "ok", "worn", "dented", "swollen", "leaking", "removed", "none", "not_readable"
]
Source = Literal["gauge", "meter", "run_down"]
Cleared = Literal["clear", "found", "not_checked", "not_applicable", "no_list_here"]
ErasureMethod = Literal[
    "maker_erase_with_encryption",
    "crypto_erase_cmd",
    "block_erase",
    "overwrite",
    "factory_reset",
    "storage_removed",
    "destroyed",
]
ErasureLevel = Literal["destroy", "purge", "clear", "none"]
Evidence = Literal[
    "maker_invoice",
    "authorised_invoice",
    "supplier_invoice",
    "donor_record",
    "markings",
    "packaging",
]
SaleClass = Literal["refurbished", "used", "as_is", "for_parts", "hold"]
ListName = Literal[
    "marks",
    "displays",
    "tests",
    "parts",
    "repairs",
    "removed",
    "missing",
    "signs",
    "batteries",
    "accessories",
    "symptoms",
]

UnitId = Annotated[str, Meta(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}" + END)]
Word = Annotated[str, Meta(min_length=1, max_length=64)]
Text = Annotated[str, Meta(max_length=5000)]
Millimetres = Annotated[float, Meta(ge=0, le=10_000)]
Count = Annotated[int, Meta(ge=0, le=1_000_000)]
Per_cent = Annotated[float, Meta(ge=0, le=200)]
Currency = Annotated[str, Meta(pattern=r"^[A-Z]{3}" + END, description="ISO 4217 code")]
Money = Annotated[Decimal, Meta(description="An amount as a decimal string, e.g. 149.00")]


def worse(direction: Literal["more", "less", "later", "true", "false"], says: str) -> Meta:
    """Declare which way an ordered field gets worse, for rules, advice and the laws' tests."""
    return Meta(description=says, extra={"worse": direction})


class _Record(msgspec.Struct, frozen=True, forbid_unknown_fields=True, omit_defaults=True):
    """Frozen: grading is a pure function. Strict: a misspelt key must not look like silence."""


class Identifier(_Record, frozen=True, kw_only=True):
    """One number of the unit, as read in one place."""

    type: Annotated[
        Literal["imei", "imeisv", "meid", "gtin", "serial", "eid", "other"],
        Meta(description="What sort of number: 3GPP TS 23.003 for imei, GS1 for gtin"),
    ]
    value: Annotated[str, Meta(min_length=1, max_length=64, description="As read. Private")]
    seen_on: (
        Annotated[
            Literal["screen", "label", "board", "tray", "housing", "box"],
            Meta(description="Where it was read; places that disagree hold the unit"),
        ]
        | UnsetType
    ) = UNSET
    read_on: date | UnsetType = UNSET
    stage: Stage | UnsetType = UNSET


class Device(_Record, frozen=True, kw_only=True):
    """What the unit is."""

    kind: Annotated[Word, Meta(description="A kind of the rulebook: see `gradekit kinds`")]
    maker: Annotated[Text, Meta(description="Maker's name")] | UnsetType = UNSET
    model: Annotated[Text, Meta(description="Model name")] | UnsetType = UNSET
    model_number: Annotated[Text, Meta(description="Maker's number of the variant")] | UnsetType = (
        UNSET
    )
    year: Annotated[int, Meta(ge=1970, le=2100, description="Year of making")] | UnsetType = UNSET
    storage_gb: Annotated[float, Meta(gt=0, le=1e6, description="Storage, GB")] | UnsetType = UNSET
    memory_gb: Annotated[float, Meta(gt=0, le=1e5, description="Memory, GB")] | UnsetType = UNSET
    colour: Text | UnsetType = UNSET
    has: (
        Annotated[
            tuple[Word, ...],
            Meta(description="Features this unit has; absent: any feature may be there"),
        ]
        | UnsetType
    ) = UNSET
    size_mm: (
        Annotated[
            tuple[Millimetres, Millimetres, Millimetres],
            Meta(description="Width, height, depth in mm"),
        ]
        | UnsetType
    ) = UNSET
    ip_rating: (
        Annotated[str, Meta(max_length=24, description="IEC 60529 code as the maker stated it")]
        | UnsetType
    ) = UNSET
    os: Text | UnsetType = UNSET
    updates_until: (
        Annotated[str, Meta(pattern=r"^\d{4}-(0[1-9]|1[0-2])" + END, description="Month, YYYY-MM")]
        | UnsetType
    ) = UNSET
    network_lock: Literal["none", "locked", "unknown"] | UnsetType = UNSET
    identifiers: (
        Annotated[tuple[Identifier, ...], Meta(description="Numbers of this unit. Private")]
        | UnsetType
    ) = UNSET


class Symptom(_Record, frozen=True, kw_only=True):
    """A fault the unit came in with, and what became of it."""

    function: Annotated[Word, Meta(description="The function that did not work when it came in")]
    seen: Annotated[Text, Meta(description="What was seen. Private")] | UnsetType = UNSET
    outcome: Annotated[Outcome, worse("later", "What became of it after the work")] | UnsetType = (
        UNSET
    )


class Intake(_Record, frozen=True, kw_only=True):
    """How the unit came in."""

    on: date | UnsetType = UNSET
    bought: Literal["working", "untested", "as_faulty"] | UnsetType = UNSET
    powers_on: bool | UnsetType = UNSET
    symptoms: tuple[Symptom, ...] | UnsetType = UNSET
    note: Annotated[Text, Meta(description="Private")] | UnsetType = UNSET


class Mark(_Record, frozen=True, kw_only=True):
    """One mark on the housing. Only zone and kind are required."""

    zone: Annotated[Word, Meta(description="A zone of the kind")]
    kind: Annotated[Word, Meta(description="A mark word of the kind: scratch, chip, crack …")]
    length_mm: (
        Annotated[Millimetres, worse("more", "Length along the curve, or diameter, mm")] | UnsetType
    ) = UNSET
    width_mm: Annotated[Millimetres, worse("more", "Width, mm")] | UnsetType = UNSET
    area_mm2: (
        Annotated[float, Meta(ge=0, le=1e7), worse("more", "Area of a scuff or loss, mm²")]
        | UnsetType
    ) = UNSET
    depth: Annotated[Depth, worse("later", "Felt by nail, through the coat …")] | UnsetType = UNSET
    visibility: (
        Annotated[
            Literal[0, 1, 2, 3],
            worse("more", "0 raking light only, 1 at 350 mm, 2 at 600 mm, 3 in use"),
        ]
        | UnsetType
    ) = UNSET
    at_mm: (
        Annotated[
            tuple[Millimetres, Millimetres], Meta(description="Place from the face's top left, mm")
        ]
        | UnsetType
    ) = UNSET
    photos: tuple[Text, ...] | UnsetType = UNSET
    note: Annotated[Text, Meta(description="Private")] | UnsetType = UNSET


class Display(_Record, frozen=True, kw_only=True):
    """One reading of a display: faults of the picture, not of the glass."""

    which: Annotated[Word, Meta(description="Which display of the kind")] = "main"
    px: (
        Annotated[
            tuple[Annotated[int, Meta(gt=0, le=100_000)], Annotated[int, Meta(gt=0, le=100_000)]],
            Meta(description="Pixels across and down"),
        ]
        | UnsetType
    ) = UNSET
    size_mm: tuple[Millimetres, Millimetres] | UnsetType = UNSET
    bright: Annotated[Count, worse("more", "Pixels always lit")] | UnsetType = UNSET
    dark: Annotated[Count, worse("more", "Pixels always dark")] | UnsetType = UNSET
    subpixel_lit: Annotated[Count, worse("more", "Sub-pixels always lit")] | UnsetType = UNSET
    subpixel_dark: Annotated[Count, worse("more", "Sub-pixels always dark")] | UnsetType = UNSET
    lines: Annotated[Count, worse("more", "Lines across the picture")] | UnsetType = UNSET
    burn_in: Annotated[BurnIn, worse("later", "Seen on dim grey, on grey, in use")] | UnsetType = (
        UNSET
    )
    spots: Annotated[Spots, worse("later", "Pressure spots or blotches")] | UnsetType = UNSET
    read_on: date | UnsetType = UNSET
    stage: Stage | UnsetType = UNSET


class TestRun(_Record, frozen=True, kw_only=True):
    """A whole list of tests gone through at once; single ``tests`` tell where it differed."""

    __test__ = False  # not a test case, whatever a test runner makes of the name

    list: Annotated[Literal["all", "core", "full"], Meta(description="Which tests were run")]
    result: Annotated[Literal["pass"], Meta(description="Only a clean run is recorded as one")]
    on: date | UnsetType = UNSET
    stage: Stage | UnsetType = UNSET
    but: tuple[Word, ...] = msgspec.field(default=(), name="except")


class Test(_Record, frozen=True, kw_only=True):
    """One function tested, or not tested and why."""

    __test__ = False  # not a test case, whatever a test runner makes of the name

    function: Word
    which: Annotated[Word, Meta(description="Tells twins apart: left, right …")] | UnsetType = UNSET
    result: Annotated[Result, worse("later", "pass, partial (or intermittent), fail …")]
    on: date | UnsetType = UNSET
    stage: Stage | UnsetType = UNSET
    why: Annotated[Text, Meta(description="Why it was not tested")] | UnsetType = UNSET
    shows: (
        Annotated[Text, Meta(description="How a failing or partial function shows; buyers read it")]
        | UnsetType
    ) = UNSET


class Part(_Record, frozen=True, kw_only=True):
    """A part that was fitted, by anybody. Fitting it is work of its own."""

    part: Annotated[Word, Meta(description="A part of the kind that was fitted")]
    origin: Annotated[Origin, worse("later", "Where it came from")] | UnsetType = UNSET
    fitted_by: Annotated[Hand, worse("later", "Who fitted it, as a role")] | UnsetType = UNSET
    on: Annotated[date, Meta(description="Absent: counted as the last thing done")] | UnsetType = (
        UNSET
    )
    used: bool | UnsetType = UNSET
    evidence: tuple[Evidence, ...] | UnsetType = UNSET
    device_says: DeviceSays | UnsetType = UNSET
    lost: (
        Annotated[tuple[Word, ...], Meta(description="Functions the new part no longer offers")]
        | UnsetType
    ) = UNSET
    note: Annotated[Text, Meta(description="Private")] | UnsetType = UNSET


class Repair(_Record, frozen=True, kw_only=True):
    """A piece of work that was done, by anybody."""

    work: Annotated[Word, Meta(description="A work of the kind")]
    level: Annotated[Level, worse("later", "How deep the work went")] | UnsetType = UNSET
    by: Annotated[Hand, worse("later", "Who did it, as a role")] | UnsetType = UNSET
    practice: (
        Annotated[Practice, worse("later", "State of practice in this technique")] | UnsetType
    ) = UNSET
    on: Annotated[date, Meta(description="Absent: counted as the last thing done")] | UnsetType = (
        UNSET
    )
    fixes: (
        Annotated[
            tuple[Word, ...],
            Meta(
                description="Functions it was to mend. Absent: only what such work always touches"
            ),
        ]
        | UnsetType
    ) = UNSET
    acceptance: (
        Annotated[tuple[Word, ...], Meta(description="Acceptance checks done and passed")]
        | UnsetType
    ) = UNSET
    note: Annotated[Text, Meta(description="Private")] | UnsetType = UNSET


class Sign(_Record, frozen=True, kw_only=True):
    """A sign of earlier work, of liquid or of tampering."""

    sign: Annotated[Word, Meta(description="A sign of the kind: wrong_screw, corrosion …")]
    where: Annotated[Word, Meta(description="A part, zone or area")] | UnsetType = UNSET
    note: Annotated[Text, Meta(description="Private")] | UnsetType = UNSET


class Battery(_Record, frozen=True, kw_only=True):
    """One reading of a battery. The worse of two readings rules."""

    which: Annotated[Word, Meta(description="Which battery of the kind")] = "main"
    state: (
        Annotated[BatteryState, Meta(description="dented, swollen, leaking: stop, do not charge")]
        | UnsetType
    ) = UNSET
    rated_mah: (
        Annotated[float, Meta(gt=0, le=1e6, description="Rated capacity, mAh (5 h rate)")]
        | UnsetType
    ) = UNSET
    full_charge_mah: (
        Annotated[float, Meta(ge=0, le=1e6), worse("less", "Full-charge capacity, mAh")] | UnsetType
    ) = UNSET
    source: Annotated[Source, Meta(description="How the capacity was found")] | UnsetType = UNSET
    nominal_v: Annotated[float, Meta(gt=0, le=1000, description="Nominal V")] | UnsetType = UNSET
    cycles: Annotated[Count, worse("more", "Full charge cycles")] | UnsetType = UNSET
    reported_health_pct: (
        Annotated[Per_cent, worse("less", "Health as the device reports it, %")] | UnsetType
    ) = UNSET
    run_time_min: (
        Annotated[float, Meta(ge=0, le=1e5), worse("less", "Run time measured, minutes")]
        | UnsetType
    ) = UNSET
    claimed_run_time_min: (
        Annotated[float, Meta(gt=0, le=1e5, description="Maker's run time, minutes")] | UnsetType
    ) = UNSET
    shuts_down: Annotated[bool, worse("true", "Switches off while charge is left")] | UnsetType = (
        UNSET
    )
    read_on: date | UnsetType = UNSET
    stage: Stage | UnsetType = UNSET


class Check(_Record, frozen=True, kw_only=True):
    """A dated look at whether something stands in the way of a sale."""

    result: Annotated[Cleared, Meta(description="no_list_here: no such list can be asked here")]
    list: Annotated[Text, Meta(description="Which list or screen was asked")] | UnsetType = UNSET
    checked_on: date | UnsetType = UNSET
    stage: Stage | UnsetType = UNSET
    note: Annotated[Text, Meta(description="Private")] | UnsetType = UNSET


class Erasure(_Record, frozen=True, kw_only=True):
    """Removal of earlier users' data; levels as in NIST SP 800-88."""

    method: (
        Annotated[ErasureMethod, Meta(description="Absent: the level stands as told, unproven")]
        | UnsetType
    ) = UNSET
    level: Annotated[ErasureLevel, worse("later", "destroy, purge, clear, none")] | UnsetType = (
        UNSET
    )
    verified: Annotated[bool, worse("false", "Looked at afterwards, no data found")] | UnsetType = (
        UNSET
    )
    on: date | UnsetType = UNSET
    stage: Stage | UnsetType = UNSET
    tool: Text | UnsetType = UNSET
    also_out: (
        Annotated[tuple[Word, ...], Meta(description="Also taken out: sim, memory_card, pairing")]
        | UnsetType
    ) = UNSET


class Accessory(_Record, frozen=True, kw_only=True):
    """Something that may go into the box."""

    item: Annotated[Word, Meta(description="An accessory of the kind")]
    included: bool
    origin: Literal["original", "compatible", "unknown"] | UnsetType = UNSET
    used: bool | UnsetType = UNSET
    tested: Annotated[bool, worse("false", "Tried with this unit")] | UnsetType = UNSET
    mains_check: (
        Annotated[
            Literal["pass", "fail"],
            worse("later", "Mains safety check by a skilled person"),
        ]
        | UnsetType
    ) = UNSET


class Acquisition(_Record, frozen=True, kw_only=True):
    """How the shop came by the unit. Private as a whole."""

    on: date | UnsetType = UNSET
    price_paid: Money | UnsetType = UNSET
    currency: Currency | UnsetType = UNSET
    source: Text | UnsetType = UNSET


class Guarantee(_Record, frozen=True, kw_only=True):
    """A voluntary guarantee of the shop, beside the buyer's legal rights."""

    months: Annotated[float, Meta(gt=0, le=1200)]
    covers: Text | UnsetType = UNSET
    how_to_claim: Text | UnsetType = UNSET


class Offer(_Record, frozen=True, kw_only=True):
    """What the shop asks, and on which terms."""

    price: Money | UnsetType = UNSET
    currency: Currency | UnsetType = UNSET
    sell_as: Annotated[SaleClass, Meta(description="Never above the class")] | UnsetType = UNSET
    guarantee: Guarantee | UnsetType = UNSET
    returns_days: Annotated[int, Meta(ge=0, le=3650)] | UnsetType = UNSET


class Inspection(_Record, frozen=True, kw_only=True):
    """The record of one unit; ``unit_id``, ``inspected_on`` and ``device.kind`` are required."""

    unit_id: Annotated[
        UnitId, Meta(description="The shop's own tag: letters, digits, . _ -, 64 at most")
    ]
    inspected_on: Annotated[date, Meta(description="Day of the inspection, as 2026-11-20")]
    inspector: Annotated[Text, Meta(description="Private")] | UnsetType = UNSET
    device: Device
    intake: Intake | UnsetType = UNSET
    cleaned: Annotated[bool, worse("false", "Cleaned before the looks were judged")] | UnsetType = (
        UNSET
    )
    inside_seen: (
        Annotated[bool, Meta(description="The inside was looked at in this inspection")] | UnsetType
    ) = UNSET
    marks: tuple[Mark, ...] | UnsetType = UNSET
    displays: tuple[Display, ...] | UnsetType = UNSET
    test_runs: tuple[TestRun, ...] | UnsetType = UNSET
    tests: tuple[Test, ...] | UnsetType = UNSET
    parts: tuple[Part, ...] | UnsetType = UNSET
    repairs: tuple[Repair, ...] | UnsetType = UNSET
    removed: Annotated[tuple[Word, ...], Meta(description="Parts taken out")] | UnsetType = UNSET
    missing: Annotated[tuple[Word, ...], Meta(description="Parts that lack")] | UnsetType = UNSET
    signs: tuple[Sign, ...] | UnsetType = UNSET
    batteries: tuple[Battery, ...] | UnsetType = UNSET
    sealing: Annotated[Sealing, worse("later", "State of the housing's seals")] | UnsetType = UNSET
    clearance: (
        Annotated[dict[Word, Check], Meta(description="Checks by name: see `gradekit kinds`")]
        | UnsetType
    ) = UNSET
    erasure: Erasure | UnsetType = UNSET
    accessories: tuple[Accessory, ...] | UnsetType = UNSET
    acquisition: Annotated[Acquisition, Meta(description="Private")] | UnsetType = UNSET
    offer: Offer | UnsetType = UNSET
    partly: (
        Annotated[tuple[ListName, ...], Meta(description="Lists recorded but still open")]
        | UnsetType
    ) = UNSET
    uncertainty: (
        Annotated[
            dict[Word, Annotated[float, Meta(ge=0, le=1e6)]],
            Meta(description="Measuring uncertainty by field name, in that field's unit"),
        ]
        | UnsetType
    ) = UNSET
    shop_note: Annotated[Text, Meta(description="The shop's own words")] | UnsetType = UNSET


MEASURED = (
    "length_mm",
    "width_mm",
    "area_mm2",
    "full_charge_mah",
    "reported_health_pct",
    "run_time_min",
)
"""Fields whose stated uncertainty counts; any other name in ``uncertainty`` would be silent."""


def known(value: T | UnsetType) -> T | None:
    """What the record says, or None where it is silent."""
    return None if isinstance(value, UnsetType) else value


def may_have(inspection: Inspection, feature: str | None) -> bool:
    """The unit has the feature, or its features were not recorded and it may have it."""
    has = inspection.device.has
    return feature is None or has is UNSET or feature in has


def margin_of(inspection: Inspection, field: str) -> float:
    """The stated uncertainty of a field, in that field's unit; 0 where none is stated."""
    return (inspection.uncertainty or {}).get(field, 0.0)
