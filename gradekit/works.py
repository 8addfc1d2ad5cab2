"""WORKS: the timeline of what was done to a unit, and which findings it has cancelled.

It stands between the record and the facts and answers one question: was this finding made after
the last work that touched it? It does not say what a finding is worth.
"""

from collections.abc import Iterator
from datetime import date
from typing import NamedTuple

from msgspec import UNSET, UnsetType

from gradekit.inspection import Inspection, Stage
from gradekit.kinds import EVERY_FUNCTION, Kind, Opening

_AFTER_WORK = ("after_work", "soak")


class Done(NamedTuple):
    """One piece of work, or one part fitted, on the timeline."""

    about: str
    on: date
    """``date.max`` when undated: undated work is the last thing that happened."""
    opening: Opening
    fitted: bool
    fixes: tuple[str, ...]


class Works(NamedTuple):
    """Everything done to a unit; ``whole`` when both lists of works are recorded to the end."""

    done: tuple[Done, ...]
    everywhere: tuple[str, ...]
    whole: bool

    @property
    def opened(self) -> bool:
        """Some work opened the housing."""
        return any(d.opening.opens for d in self.done)

    def touching(self, function: str) -> list[Done]:
        """Works after which a function has to be tested again."""
        if not self.done:
            return []
        return [d for d in self.done if _retests(d, function)]

    def rereading(self, path: str) -> list[Done]:
        """Works after which a reading (a record path) has to be taken again."""
        if not self.done:
            return []
        names = {path, path.partition("[")[0]}
        if names & set(self.everywhere):
            return list(self.done)
        return [d for d in self.done if names & set(d.opening.reread)]


def timeline(inspection: Inspection, kind: Kind) -> Works:
    """Lay out the works of a record whose words the kind has."""
    return Works(
        done=(*_fitted(inspection, kind), *_repaired(inspection, kind)),
        everywhere=kind.every_work_rereads,
        whole=not open_list(inspection, "parts") and not open_list(inspection, "repairs"),
    )


def _fitted(inspection: Inspection, kind: Kind) -> Iterator[Done]:
    for i, part in enumerate(inspection.parts or ()):
        on = date.max if part.on is UNSET else part.on
        yield Done(f"parts[{i}]", on, kind.parts[part.part], True, ())


def _repaired(inspection: Inspection, kind: Kind) -> Iterator[Done]:
    for i, repair in enumerate(inspection.repairs or ()):
        on = date.max if repair.on is UNSET else repair.on
        yield Done(f"repairs[{i}]", on, kind.works[repair.work], False, repair.fixes or ())


def _retests(done: Done, function: str) -> bool:
    retest = done.opening.retest
    return function in retest or EVERY_FUNCTION in retest or function in done.fixes


def stands(on: date, stage: Stage | UnsetType, works: list[Done]) -> bool:
    """A finding stands if it is later than every work that touched it.

    Later means a later day, or the same day with the stage ``after_work`` or ``soak``.
    """
    return not works or all(on > w.on or (on == w.on and stage in _AFTER_WORK) for w in works)


def open_list(inspection: Inspection, name: str) -> bool:
    """The list was not recorded, or recorded only in part."""
    if inspection.partly and name in inspection.partly:
        return True
    if name == "symptoms":
        return inspection.intake is UNSET or inspection.intake.symptoms is UNSET
    if name == "tests":
        return inspection.tests is UNSET and inspection.test_runs is UNSET
    return getattr(inspection, name) is UNSET
