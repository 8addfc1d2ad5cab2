"""REFUTATIONS: what a text claims, and what of the record stands against each claim.

It serves the claim check: claims about the whole unit are looked up in the wordbook's data; claims
about one function, mark, part or accessory are put together from the things a text names and what
it says of them. It writes no findings and passes over what the text leaves out.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import cached_property, partial

from gradekit.evidence import Claimed, Record, Refutation
from gradekit.omissions import Status
from gradekit.statements import Mention, Reading
from gradekit.subjects import Fact, MarkFact
from gradekit.wordbook import Claim, Wordbook
from gradekit.wordings import Hit

_LONG_MM = 20.0
"""A mark longer than this is no small one (common practice)."""

_REACH = 6
"""Words between "no" and the mark that lacks, at most."""

_WITH_REACH = 8
"""Words between "with" and the thing that comes with it, at most."""

_EXCEPT_REACH = 2
"""Words between "except" and the function that it sets apart, at most."""

_COUNT_REACH = 3
"""Words between a number and the marks it counts, at most."""

_ORIGINAL = ("maker_supplied", "authorised_supplied", "original_confirmed")


# --- what the text says of functions -----------------------------------------------------------


def statuses_in(reading: Reading) -> tuple[Status, ...]:
    """Every function the text names, with how it stands by the text."""
    by_span = _spans(reading.of("function"))
    functions = [Mention(Hit("function.", *span), "") for span in by_span]
    states = [Mention(h, s) for h in reading.of("status") if (s := _state(reading, h))]
    found = [
        Status(f.hit, by_span[f.hit.first, f.hit.last], s.hit, s.means, reading.hedged(s.hit))
        for f, s in reading.pairs(functions, states, strict=True)
    ]
    found = [s._replace(state="fault") if _set_apart(reading, s) else s for s in found]
    poor = {s.function for s in found if s.state != "ok"}
    return tuple(s for s in found if s.state != "ok" or s.function not in poor)


def _set_apart(reading: Reading, status: Status) -> bool:
    """``Everything works except NFC``, ``all but NFC works``: it does not."""
    excepts = reading.named.get("tone.except", ())
    near = (status.function.first - e.last - 1 for e in excepts)
    return status.state == "ok" and any(0 <= apart <= _EXCEPT_REACH for apart in near)


def _state(reading: Reading, hit: Hit) -> str:
    """How a status word says that something stands; empty where it says nothing."""
    tone = reading.tone(hit)
    if tone == "denied":
        return {"ok": "fault", "fault": "ok"}.get(hit.key, "")
    return "" if tone == "unsaid" or hit.key == "none" else hit.key


def _spans(hits: Iterable[Hit]) -> dict[tuple[int, int], frozenset[str]]:
    """Hits by place, with every word that the wording there may stand for."""
    spans: dict[tuple[int, int], frozenset[str]] = {}
    for hit in hits:
        place = (hit.first, hit.last)
        spans[place] = spans.get(place, frozenset()) | {hit.key}
    return spans


# --- claims ------------------------------------------------------------------------------------


class Claims:
    """The claims of one text against one record."""

    def __init__(self, reading: Reading, book: Wordbook, record: Record,
                 told: Callable[[str], bool]) -> None:  # fmt: skip
        """``told`` says whether the text tells everything that the record asks of a path."""
        self._reading, self._book, self._record = reading, book, record
        self._facts, self._told = record.facts, told
        self._known: dict[str, tuple[list[Refutation], list[Refutation]]] = {}

    @cached_property
    def statuses(self) -> tuple[Status, ...]:
        """Every function the text names, with how it stands by the text."""
        return statuses_in(self._reading)

    def refuted(self) -> Iterator[Claimed]:
        """Every claim that something stands against."""
        found = [*self._whole_claims(), *self._function_claims(), *self._mark_claims()]
        found += [*self._counts(), *self._part_claims(), *self._accessory_claims()]
        doubted = [d for d in map(self._as_toned, found) if d.against]
        by_claim: dict[str, list[Hit]] = {}
        for claimed in doubted:
            by_claim.setdefault(claimed.claim, []).append(claimed.hit)
        by_claim = {name: _ordered(hits) for name, hits in by_claim.items()}
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
        for name, hit in self.stated:
            lists = self._book.claims[name].instead_of
            against = [Refutation(a, True) for a in omitted if a.partition("[")[0] in lists]
            if "marks" in lists and "marks" in self._facts.open_subjects:
                against.append(Refutation("marks", False))
            if lists and against:
                yield Claimed(name, hit, tuple(against))

    @cached_property
    def stated(self) -> list[tuple[str, Hit]]:
        """Every claim the text makes of the whole, less those that a longer one makes precise."""
        reading = self._reading
        hits = [*reading.of("claim"), *(h for h in reading.of("alone") if not self._of_function(h))]
        hits = [h for h in _ordered(hits) if not excused(reading, h.key, h)]
        kept = [h for h in hits if not self._hidden(h, reading.touching(hits, h))]
        return [(h.key, h) for h in kept if self._stands(self._book.claims[h.key], h)]

    def _hidden(self, hit: Hit, over: Iterable[Hit]) -> bool:
        """A wording that makes this one more precise stands over it."""
        return any(hit.key in self._book.claims[other.key].hides for other in over)

    def _stands(self, claim: Claim, hit: Hit) -> bool:
        """The text stands behind a claim, and means the unit itself."""
        if self._reading.tone(hit, supposing=claim.supposing) not in ("said", "hedged"):
            return False
        if claim.calm and self._of_thing(hit, ("thing",)):
            return False
        return not (claim.of_whole and self._of_part(hit))

    def _of_part(self, hit: Hit) -> bool:
        """Said of a thing that its clause or the one before names: "back cover, new"."""
        reading = self._reading
        if reading.touching(reading.named.get("notion.device", ()), hit):
            return False
        number = reading.text.tokens[hit.first].clause
        clause = reading.text.clauses[max(number - 1, 0)]
        if clause.sentence != reading.sentence(hit):
            clause = reading.text.clauses[number]
        tables = ("part", "item", "thing")
        return any(reading.between(reading.of(t), clause.first, hit.first - 1) for t in tables)

    def _of_function(self, hit: Hit) -> bool:
        """A wording such as "works perfectly" is said of a named function or thing."""
        for status in (s for i in range(hit.first, hit.last + 1) for s in self._said.get(i, ())):
            if status.function.last < hit.first or 0 < status.function.first - hit.last <= 2:
                return True
        return self._of_thing(hit, ("item", "thing"))

    @cached_property
    def _said(self) -> dict[int, list[Status]]:
        """What is said of functions, by each token that says it."""
        said: dict[int, list[Status]] = {}
        for status in self.statuses:
            for i in range(status.said.first, status.said.last + 1):
                said.setdefault(i, []).append(status)
        return said

    def _of_thing(self, hit: Hit, tables: Sequence[str]) -> bool:
        """A thing beside the unit stands before the wording in its segment, or right behind it."""
        reading = self._reading
        sentence = reading.sentence(hit)
        things = [t for table in tables for t in reading.beside(reading.of(table), sentence)]
        if not things:
            return False
        segment = next(
            s
            for s in reading.segments(sentence, [hit])
            if s.first <= hit.first and hit.last <= s.last
        )
        for thing in things:
            before = segment.first <= thing.first and thing.last < hit.first
            behind = 0 < thing.first - hit.last <= 2 and thing.last <= segment.last
            if (before or behind) and self._is_other(thing):
                return True
        return False

    def _is_other(self, thing: Hit) -> bool:
        """It is no zone of the unit, and it is there."""
        zones = self._reading.touching(self._reading.of("zone"), thing)
        zone = any((z.first, z.last) == (thing.first, thing.last) for z in zones)
        return not zone and not self._reading.denied(thing)

    # --- of the whole ----------------------------------------------------------------------------

    def _whole_claims(self) -> Iterator[Claimed]:
        for name, hit in self.stated:
            claim = self._book.claims[name]
            if not claim.instead_of:
                yield Claimed(name, hit, tuple(self._against(name, hit)))

    def _against(self, name: str, hit: Hit) -> Iterator[Refutation]:
        """What stands against a claim: nothing can bear it, the class, facts, voiding rules."""
        claim = self._book.claims[name]
        if claim.never:
            yield Refutation("", not claim.hearsay)
        zones = self._zones(hit) if claim.narrows == "zone" else frozenset()
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

    def _zones(self, hit: Hit) -> frozenset[str]:
        """The zones that a wording about looks is narrowed to."""
        zones = [Mention(z, z.key) for z in self._reading.of("zone") if not _overlap(z, hit)]
        pairs = self._reading.pairs(zones, [Mention(hit, "")], strict=True)
        return frozenset(zone.means for zone, _ in pairs)

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
        poor = [s for s in self.statuses if s.state != "ok"]
        if claim.lifted_by == "exception":
            poor = [s for s in poor if self._reading.sentence(s.said) == sentence]
            if self._in_sentence("tone.except", sentence, hit):
                if self._in_sentence("notion.listed", sentence, hit):
                    return self._told
                return self._set_apart(sentence, hit, {f for s in poor for f in s.functions})
        return self._paths({f for s in poor for f in s.functions}, set())

    def _in_sentence(self, name: str, sentence: int, but: Hit) -> bool:
        hits = self._reading.beside(self._reading.named.get(name, ()), sentence)
        return any(not _overlap(h, but) for h in hits)

    def _set_apart(self, sentence: int, hit: Hit, functions: set[str]) -> Callable[[str], bool]:
        """Functions and marks named beside "except"."""
        near = self._reading.beside(self._reading.hits, sentence)
        near = [h for h in near if not _overlap(h, hit)]
        functions = functions | {h.key for h in near if h.table == "function"}
        return self._paths(functions, {h.key for h in near if h.table == "mark"})

    def _paths(self, functions: set[str], marks: set[str]) -> Callable[[str], bool]:
        abouts = {t.about for t in self._facts.tests if t.function in functions}
        abouts |= {m.about for m in self._facts.marks if m.kind in marks}
        return abouts.__contains__

    # --- of functions ----------------------------------------------------------------------------

    def _function_claims(self) -> Iterator[Claimed]:
        """``NFC works`` needs a pass that stands; ``NFC not tested`` needs that there is none."""
        for status in self.statuses:
            hit = Hit("", *_around(status.function, status.said))
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

    # --- of marks --------------------------------------------------------------------------------

    def _mark_claims(self) -> Iterator[Claimed]:
        """``No scratches`` asks for marks of that kind; where the text names a zone, there."""
        kinds = _spans(self._reading.of("mark"))
        for lack, mark in self._lacks():
            hit = Hit("", *_around(lack, mark))
            toned = self._reading.tone(hit) in ("said", "hedged")
            if not toned or self._of_thing(mark, ("thing",)) or self._of_claim(lack):
                continue
            named = kinds.get((mark.first, mark.last), frozenset((mark.key,)))
            yield Claimed("no_such_mark", hit, tuple(self._such_marks(hit, lack, mark, named)))

    def _of_claim(self, lack: Hit) -> bool:
        """The word of lack belongs to a claim that is looked up by itself."""
        stated = [h for n, h in self.stated if n != "minor_wear"]
        return bool(self._reading.touching(stated, lack))

    def _such_marks(
        self, hit: Hit, lack: Hit, mark: Hit, kinds: frozenset[str]
    ) -> Iterator[Refutation]:
        zones = self._zones(hit)
        found = [
            Refutation(m.about, True)
            for m in self._facts.marks
            if m.kind in kinds and (not zones or m.zone in zones) and self._meant(m, lack, mark)
        ]
        if not found and "marks" in self._facts.open_subjects:
            found = [Refutation("marks", False)]
        yield from found

    def _lacks(self) -> Iterator[tuple[Hit, Hit]]:
        """Each word of lack with the mark it is said of; ``scratch-free`` is both in one."""
        reading = self._reading
        lacks = [Mention(h, "") for h in reading.of("lack")]
        marks = [Mention(Hit("mark.", *place), "") for place in _spans(reading.of("mark"))]
        for mark, lack in reading.pairs(marks, lacks, strict=True):
            same = reading.clause(mark.hit) == reading.clause(lack.hit)
            apart = mark.hit.first - lack.hit.last - 1
            if (not same or 0 <= apart <= _REACH) and not self._between("further", lack, mark):
                yield lack.hit, mark.hit
        for free in reading.of("free"):
            yield free, free

    def _between(self, notion: str, left: Mention, right: Mention) -> bool:
        hits = self._reading.named.get(f"notion.{notion}", ())
        return any(left.hit.last < h.first and h.last < right.hit.first for h in hits)

    def _meant(self, fact: MarkFact, lack: Hit, mark: Hit) -> bool:
        """``No deep scratches`` leaves shallow ones out, ``no visible ones`` the unseen."""
        left, right = Mention(lack, ""), Mention(mark, "")
        if self._between("severe", left, right):
            long = fact.length_mm is not None and fact.length_mm > _LONG_MM
            return long or fact.depth in ("through_coat", "through_part") or fact.visibility == 3
        return not (self._between("visible", left, right) and fact.visibility == 0)

    def _counts(self) -> Iterator[Claimed]:
        """``One scratch`` where the record holds three."""
        spans = _spans(self._reading.of("mark"))
        marks = [Hit("mark.", *place) for place in spans]
        marks = [
            m for m in marks if not self._reading.denied(m) and not self._of_thing(m, ("thing",))
        ]
        counted = {m: n for m in marks if (n := self._count(m)) is not None}
        for mark, (at, number) in counted.items():
            kinds, zones = spans[mark.first, mark.last], self._zones(mark)
            told = sum(counted[m][1] if m in counted else 1 for m in marks
                       if spans[m.first, m.last] & kinds)  # fmt: skip
            recorded = [m for m in self._facts.marks if m.kind in kinds]
            here = [m for m in recorded if not zones or m.zone in zones]
            if number < len(here) and told < len(recorded):
                against = (Refutation(here[-1].about, True),)
                yield Claimed("mark_count", Hit("", at, mark.last), against)

    def _count(self, mark: Hit) -> tuple[int, float] | None:
        """Where a number before a mark stands, and what it counts."""
        tokens = self._reading.text.tokens
        first = max(self._reading.clause(mark).first, mark.first - _COUNT_REACH)
        for i in range(mark.first - 1, first - 1, -1):
            word = tokens[i].word
            if word in self._book.numbers:
                return i, self._book.numbers[word]
            if word.isdigit():
                measured = any(tokens[i + 1].word in us for us in self._book.units.values())
                return None if measured else (i, float(word))
        return None

    # --- of parts and accessories ----------------------------------------------------------------

    def _part_claims(self) -> Iterator[Claimed]:
        """``New screen``, ``battery replaced``, ``original display``."""
        parts = _spans(h for h in self._reading.of("part") if not self._is_thing(h))
        mentions = [
            Mention(Hit("part.", *place), "") for place in parts if not self._is_place(place)
        ]
        renewed = [Mention(h, "") for h in self._reading.named.get("renewed.yes", ())]
        renewals = list(self._reading.pairs(mentions, renewed, strict=True))
        renewals += [(m, w) for w in self._adjectives("new") for m in self._behind(w, mentions)]
        for part, word in self._nearest(renewals):
            if self._reading.tone(word.hit) in ("said", "hedged"):
                yield self._replaced(part.hit, word.hit, parts[part.hit.first, part.hit.last])
        original = self._adjectives("original")
        for part, word in self._nearest(self._reading.pairs(mentions, original, strict=True)):
            if self._reading.tone(word.hit) in ("said", "hedged") and not self._of_claim(word.hit):
                yield self._original(part.hit, word.hit, parts[part.hit.first, part.hit.last])

    def _is_place(self, place: tuple[int, int]) -> bool:
        """``On the main board``: where something is, not what is spoken of."""
        hits = self._reading.named.get("notion.at", ())
        return any(h.last + 1 == place[0] for h in hits)

    def _nearest(self, pairs: Iterable[tuple[Mention, Mention]]) -> list[tuple[Mention, Mention]]:
        """Of the parts in a word's clause, the nearest and those listed with it."""
        found = list(pairs)
        near: dict[Mention, Mention] = {}
        for part, word in found:
            if self._same_clause(part, word):
                rival = near.get(word, part)
                near[word] = min((rival, part), key=partial(_distance, word))
        return [(p, w) for p, w in found if not self._same_clause(p, w) or self._listed(p, near[w])]

    def _listed(self, part: Mention, near: Mention) -> bool:
        """It is the nearest itself, or "and" joins it on."""
        first, last = sorted((part.hit, near.hit), key=lambda h: h.first)
        return part == near or self._reading.joined(first.last, last.first)

    def _same_clause(self, a: Mention, b: Mention) -> bool:
        return self._reading.clause(a.hit) == self._reading.clause(b.hit)

    def _is_thing(self, hit: Hit) -> bool:
        return any(_overlap(hit, t) for t in self._reading.of("thing"))

    def _adjectives(self, notion: str) -> list[Mention]:
        """Words such as "new" that belong to no claim of their own."""
        hits = self._reading.named.get(f"notion.{notion}", ())
        reading = self._reading
        claims = [h for h in reading.of("claim") if not excused(reading, h.key, h)]
        return [Mention(h, "") for h in hits if not any(_overlap(h, c) for c in claims)]

    def _behind(self, word: Mention, nouns: Iterable[Mention]) -> list[Mention]:
        """Nouns right behind an adjective."""
        last = self._reading.clause(word.hit).last
        return [n for n in nouns if 0 < n.hit.first - word.hit.last <= 2 and n.hit.last <= last]

    def _replaced(self, part: Hit, word: Hit, keys: frozenset[str]) -> Claimed:
        works = {h.key for h in self._reading.of("work") if _overlap(h, part)}
        fitted = any(p.part in keys for p in self._facts.parts)
        worked = any(r.work in keys | works for r in self._facts.repairs)
        against = () if fitted or worked else (Refutation("parts", False),)
        return Claimed("part_replaced", Hit("", *_around(part, word)), against)

    def _original(self, part: Hit, word: Hit, keys: frozenset[str]) -> Claimed:
        fitted = [p for p in self._facts.parts if p.part in keys]
        passed_on = self._reading.named.get("standing.claimed_original", ())
        told = any(_overlap(word, h) and h != word for h in passed_on)
        allowed = (*_ORIGINAL, "claimed_original") if told else _ORIGINAL
        against = [
            Refutation(p.about, "standing" not in p.open)
            for p in fitted
            if p.standing not in allowed or "standing" in p.open
        ]
        if not fitted and self._facts.unit[0].earlier_work is not False:
            against = [Refutation("parts", False)]
        return Claimed("original_part", Hit("", *_around(part, word)), tuple(against))

    def _accessory_claims(self) -> Iterator[Claimed]:
        """``With charger`` needs a charger that the record holds as included."""
        reading = self._reading
        items = _spans(reading.of("item"))
        mentions = [Mention(Hit("item.", *place), "") for place in items]
        words = [Mention(h, "") for h in reading.named.get("included.yes", ())]
        for item, word in reading.pairs(mentions, words, strict=False):
            if not self._comes_with(item.hit, word.hit):
                continue
            keys = items[item.hit.first, item.hit.last]
            if not any(a.item in keys for a in self._facts.accessories):
                sure = "accessories" not in self._facts.open_subjects
                hit = Hit("", *_around(item.hit, word.hit))
                yield Claimed("accessory_included", hit, (Refutation("accessories", sure),))

    def _comes_with(self, item: Hit, word: Hit) -> bool:
        """The word of inclusion reaches the thing, and neither is denied or only supposed."""
        reading = self._reading
        if _overlap(item, word):
            return False
        apart = max(item.first - word.last, word.first - item.last) - 1
        if reading.clause(item) == reading.clause(word) and apart > _WITH_REACH:
            return False
        return not {reading.tone(item), reading.tone(word)} & {"denied", "unsaid"}


def excused(reading: Reading, name: str, hit: Hit) -> bool:
    """Part of a longer wording that only looks like the claim."""
    return bool(reading.touching(reading.named.get(f"but.{name}", ()), hit))


def _inside(hit: Hit, other: Hit) -> bool:
    """It stands in a longer stretch."""
    longer = other.last - other.first > hit.last - hit.first
    return longer and other.first <= hit.first and hit.last <= other.last


def _ordered(hits: Iterable[Hit]) -> list[Hit]:
    return sorted(hits, key=lambda h: (h.first, h.last, h.name))


def _overlap(a: Hit, b: Hit) -> bool:
    return a.first <= b.last and b.first <= a.last


def _distance(word: Mention, part: Mention) -> int:
    return max(word.hit.first - part.hit.last, part.hit.first - word.hit.last)


def _around(a: Hit, b: Hit) -> tuple[int, int]:
    return min(a.first, b.first), max(a.last, b.last)
