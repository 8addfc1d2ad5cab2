"""EVIDENCE: what is known of a unit and its sale, and what of it stands against a claim.

It serves the claim check: the looks that the wordbook's data takes at the facts are answered here,
what is sure apart from what is open. It reads no text.
"""

from collections.abc import Iterable, Iterator
from functools import cached_property
from typing import NamedTuple

from gradekit.assessment import Assessment
from gradekit.claim_files import Claim, Look
from gradekit.conditions import Outcome
from gradekit.facts import establish
from gradekit.inspection import Inspection
from gradekit.kinds import Kind
from gradekit.rulebook import Rulebook
from gradekit.rules import CLASSES, GRADES, verdicts
from gradekit.sales import Sale
from gradekit.subjects import UNIT_PATHS, Fact, Facts
from gradekit.wordings import Hit


class Refutation(NamedTuple):
    """Something of the record that stands against a claim, or that a claim would need."""

    about: str
    sure: bool
    fact: Fact | None = None


class Claimed(NamedTuple):
    """A claim in the text, and what stands against it, what is sure first."""

    claim: str
    hit: Hit
    against: tuple[Refutation, ...]


class Record:
    """Everything known of a unit that is for sale."""

    def __init__(self, sale: Sale, rulebook: Rulebook) -> None:
        self.sale, self.rulebook = sale, rulebook

    @property
    def inspection(self) -> Inspection:
        """What was recorded."""
        return self.sale.inspection

    @property
    def assessment(self) -> Assessment:
        """What came of it."""
        return self.sale.assessment

    @property
    def kind(self) -> Kind:
        """What a device of this kind has."""
        return self.sale.kind

    @cached_property
    def facts(self) -> Facts:
        """The whole record as facts, on the day of the assessment."""
        return establish(self.inspection, self.kind, self.assessment.assessed_on)

    @property
    def own_guarantee(self) -> str | None:
        """The guarantee in the shop's own words."""
        return self.sale.shop.terms.guarantee if self.sale.shop else None

    def seen(self, look: Look) -> Iterator[Refutation]:
        """What a look finds: sure, or open because nobody looked or work came after."""
        for verdict in verdicts(look.rule, self.facts):
            silent = verdict.outcome is Outcome.PRESUMED or verdict.fact is None
            if verdict.outcome is not Outcome.FIRES and (look.known_only or not silent):
                continue
            field = next(look.rule.condition.walk()).field
            about = verdict.about or UNIT_PATHS.get(field, field)
            yield Refutation(about, verdict.outcome is Outcome.FIRES, verdict.fact)

    def class_against(self, claim: Claim) -> Iterator[Refutation]:
        """The gravest reason for a class that does not allow the claim."""
        sale_class = self.assessment.sale_class
        if not claim.classes or sale_class in claim.classes:
            return
        capping = [r for r in self.assessment.reasons if r.caps_class == sale_class]
        for reason in sorted(capping, key=lambda r: r.presumed)[:1]:
            yield Refutation(reason.about, not reason.presumed)

    def gravest_first(self, found: Iterable[Refutation]) -> list[Refutation]:
        """By the worst cap that any reason sets on each path."""
        return sorted(
            found, key=lambda r: max(self._gravity(r.about), default=(0, 0)), reverse=True
        )

    def _gravity(self, about: str) -> Iterator[tuple[int, int]]:
        for reason in self.assessment.reasons:
            if reason.about == about:
                sale_class, grade = reason.caps_class, reason.caps_grade
                yield (
                    0 if sale_class is None else CLASSES.index(sale_class),
                    0 if grade is None else GRADES.index(grade),
                )

    def voided(self, claim: Claim) -> Iterator[Refutation]:
        """Reasons whose rule voids the claim."""
        for reason in self.assessment.reasons:
            if set(self.rulebook.rule(reason.rule).voids) & set(claim.voids):
                yield Refutation(reason.about, not reason.presumed)

    def bearing(self, claim: Claim) -> Iterator[Refutation]:
        """What a claim needs and the record does not hold for sure."""
        if claim.needs and not any(r.sure for look in claim.needs for r in self.seen(look)):
            yield Refutation(claim.needs[0].subject, False)
        if claim.guarantee and not self.sale.guaranteed:
            yield Refutation("offer.guarantee", False)
