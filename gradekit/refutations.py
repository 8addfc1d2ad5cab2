"""REFUTATIONS: every claim of a text that something of the record stands against.

It serves the claim check: claims about the whole unit are looked up in the wordbook's data, claims
about functions in the record's tests; those about marks and parts stand before this. It writes no
findings and passes over what the text leaves out.
"""

from collections.abc import Callable, Iterator, Sequence

from gradekit.assertions import Assertions, around, ordered, overlap
from gradekit.claim_files import Claim
from gradekit.evidence import Claimed, Record, Refutation
from gradekit.mark_claims import MarkClaims
from gradekit.part_claims import PartClaims
from gradekit.statuses import Status
from gradekit.subjects import Fact, MarkFact
from gradekit.wordings import Hit


class Claims:
    """The claims of one text against one record."""

    def __init__(self, said: Assertions, record: Record, told: Callable[[str], bool]) -> None:
        """``told`` says whether the text tells everything that the record asks of a path."""
        self._said, self._record, self._told = said, record, told
        self._reading, self._book, self._facts = said.reading, said.book, record.facts
        self._known: dict[str, tuple[list[Refutation], list[Refutation]]] = {}

    def refuted(self) -> Iterator[Claimed]:
        """Every claim that something stands against."""
        found = [*self._whole_claims(), *self._function_claims()]
        found += MarkClaims(self._said, self._record).refuted()
        found += PartClaims(self._said, self._record).refuted()
        doubted = [d for d in map(self._as_toned, found) if d.against]
        by_claim: dict[str, list[Hit]] = {}
        for claimed in doubted:
            by_claim.setdefault(claimed.claim, []).append(claimed.hit)
        by_claim = {name: ordered(hits) for name, hits in by_claim.items()}
        for claimed in doubted:
            over = self._reading.touching(by_claim[claimed.claim], claimed.hit)
            if not any(_inside(claimed.hit, other) for other in over):
                yield claimed

    def _as_toned(self, claimed: Claimed) -> Claimed:
        """A hedged claim is refuted only by what is sure."""
        hedged = self._reading.hedged(claimed.hit)
        against = (r for r in claimed.against if r.sure or not hedged)
        return claimed._replace(against=tuple(sorted(against, key=lambda r: not r.sure)))

    def instead_of(self, omitted: Sequence[str]) -> Iterator[Claimed]:
        """General words ("minor wear", "see photos") while things are not named one by one."""
        for name, hit in self._said.stated:
            claim = self._book.claims[name]
            lists, meant = claim.instead_of, self._meant(claim, hit)
            unsaid = (a for a in omitted if a.partition("[")[0] in lists and meant(a))
            against = [Refutation(about, True) for about in unsaid]
            if "marks" in lists and "marks" in self._facts.open_subjects:
                against.append(Refutation("marks", False))
            if lists and against:
                yield Claimed(name, hit, tuple(against))

    def _meant(self, claim: Claim, hit: Hit) -> Callable[[str], bool]:
        """Where a wording about looks is narrowed to zones, only marks there are meant."""
        zones = self._said.zones(hit) if claim.narrows == "zone" else frozenset()
        here = {m.about for m in self._facts.marks if m.zone in zones}
        return lambda about: not zones or about in here

    # --- of the whole ----------------------------------------------------------------------------

    def _whole_claims(self) -> Iterator[Claimed]:
        for name, hit in self._said.stated:
            claim = self._book.claims[name]
            if not claim.instead_of:
                yield Claimed(name, hit, tuple(self._against(name, hit)))

    def _against(self, name: str, hit: Hit) -> Iterator[Refutation]:
        """What stands against a claim: nothing can bear it, the class, facts, voiding rules."""
        claim = self._book.claims[name]
        if claim.never:
            yield Refutation("", not claim.hearsay)
        zones = self._said.zones(hit) if claim.narrows == "zone" else frozenset()
        seen, found = self._looked_up(name)
        if zones:
            found = [r for r in seen if self._in_zones(r.fact, zones)]
        lifted = self._lifted(claim, hit)
        yield from (r for r in found if not lifted(r.about))

    def _looked_up(self, name: str) -> tuple[list[Refutation], list[Refutation]]:
        """What a claim's own looks find, and all that is against it, the gravest first."""
        if name not in self._known:
            claim, record = self._book.claims[name], self._record
            looks = (record.gravest_first(record.seen(look)) for look in claim.refuted_by)
            seen = [r for look in looks for r in look]
            voided = record.gravest_first(record.voided(claim))
            full = [*record.class_against(claim), *seen, *voided, *record.bearing(claim)]
            self._known[name] = (seen, full)
        return self._known[name]

    def _in_zones(self, fact: Fact | None, zones: frozenset[str]) -> bool:
        """A mark of one of the zones, or a picture where one of them is a display."""
        if isinstance(fact, MarkFact):
            return fact.zone in zones
        pictured = any(self._record.kind.zones[z].material == "display" for z in zones)
        return fact is None or (pictured and fact.about.startswith("displays"))

    def _lifted(self, claim: Claim, hit: Hit) -> Callable[[str], bool]:
        """What the text itself sets apart from a claim: "all works except the NFC"."""
        if claim.lifted_by is None:
            return lambda about: False
        sentence = self._reading.sentence(hit)
        poor = [s for s in self._said.statuses if s.state != "ok"]
        if claim.lifted_by == "exception" and self._of_rest(sentence):
            told = self._paths({f for s in poor for f in s.functions}, set())
            return lambda about: told(about) or self._told(about)
        if claim.lifted_by == "exception":
            poor = [s for s in poor if self._reading.sentence(s.said) == sentence]
            if self._in_sentence("tone.except", sentence, hit):
                if self._in_sentence("notion.listed", sentence, hit):
                    return self._told
                return self._set_apart(sentence, hit, {f for s in poor for f in s.functions})
        return self._paths({f for s in poor for f in s.functions}, set())

    def _of_rest(self, sentence: int) -> bool:
        """``Otherwise``: it speaks of what the text has not told elsewhere."""
        return bool(self._reading.beside(self._reading.named.get("notion.rest", ()), sentence))

    def _in_sentence(self, name: str, sentence: int, but: Hit) -> bool:
        hits = self._reading.beside(self._reading.named.get(name, ()), sentence)
        return any(not overlap(h, but) for h in hits)

    def _set_apart(self, sentence: int, hit: Hit, functions: set[str]) -> Callable[[str], bool]:
        """Functions and marks named beside "except"."""
        near = self._reading.beside(self._reading.hits, sentence)
        near = [h for h in near if not overlap(h, hit)]
        functions = functions | {h.key for h in near if h.table == "function"}
        return self._paths(functions, {h.key for h in near if h.table == "mark"})

    def _paths(self, functions: set[str], marks: set[str]) -> Callable[[str], bool]:
        abouts = {t.about for t in self._facts.tests if t.function in functions}
        abouts |= {s.about for s in self._facts.symptoms if s.function in functions}
        abouts |= {m.about for m in self._facts.marks if m.kind in marks}
        return abouts.__contains__

    # --- of functions ----------------------------------------------------------------------------

    def _function_claims(self) -> Iterator[Claimed]:
        """``NFC works`` needs a pass that stands; ``NFC not tested`` needs that there is none."""
        for status in self._said.statuses:
            hit = Hit("", *around(status.function, status.said))
            if status.state == "ok":
                yield Claimed("function_works", hit, tuple(self._unproven(status)))
            elif status.state == "untested":
                yield Claimed("untested", hit, tuple(self._proven(status)))

    def _unproven(self, status: Status) -> Iterator[Refutation]:
        tests = [t for t in self._facts.tests if t.function in status.functions]
        for test in tests:
            if test.result != "pass" or "result" in test.open:
                yield Refutation(test.about, test.result in ("fail", "partial"))
        if not tests:
            yield Refutation("device.has", False)

    def _proven(self, status: Status) -> Iterator[Refutation]:
        tests = [t for t in self._facts.tests if t.function in status.functions]
        if all(t.result is not None and "result" not in t.open for t in tests):
            yield from (Refutation(t.about, True) for t in tests)


def _inside(hit: Hit, other: Hit) -> bool:
    """It stands in a longer stretch."""
    longer = other.last - other.first > hit.last - hit.first
    return longer and other.first <= hit.first and hit.last <= other.last
