"""CLAIMS: anybody's own wording of a listing, held against the record.

It stands after the disclosures: it finds what a text claims and the record does not bear out, what
the record asks to be told and the text leaves unsaid, and words that a market forbids. Our own
sentences always pass. It never rewrites a text, and a text it finds nothing in is not thereby lawful.
"""

import re
from collections.abc import Collection, Iterable, Iterator, Sequence
from functools import cached_property
from typing import Literal, NamedTuple

import msgspec
from msgspec import UNSET

from gradekit.assessment import Assessment, Disclosure
from gradekit.conditions import Outcome
from gradekit.disclosures import Phrases, languages, sentences
from gradekit.errors import Problem, UnknownName
from gradekit.facts import establish
from gradekit.figures import Doubt, check
from gradekit.inspection import Inspection
from gradekit.omissions import Status, Telling
from gradekit.rulebook import Rulebook
from gradekit.rules import verdicts
from gradekit.statements import Mention, Reading
from gradekit.subjects import UNIT_PATHS, Fact, MarkFact
from gradekit.wordbook import Claim, Look, Wordbook, wordbook
from gradekit.wordings import Hit


class Finding(msgspec.Struct, frozen=True, kw_only=True):
    """Something to mend in a text: where, what about (a record path), why, what to write instead.

    ``topic`` is the claim's, phrase's or disclosure's own name. ``quote`` is the text from ``at[0]``
    to ``at[1]``; an omission stands at the text's end.
    """

    kind: Literal["claim", "omission", "forbidden"]
    topic: str
    quote: str
    at: tuple[int, int]
    about: str
    why: str
    instead: str


def vet(
    text: str,
    inspection: Inspection,
    assessment: Assessment,
    rulebook: Rulebook,
    language: str,
    *,
    forbidden: Collection[str] = (),
) -> tuple[Finding, ...]:
    """Hold a text against a record and its assessment; findings in the order of the text.

    ``forbidden`` names phrases or claims that a market does not allow. Raises UnknownName for a
    language without claims and for a phrase the language does not know, RuleError for claims files
    that cannot be used.
    """
    return _Vetting(text, inspection, assessment, rulebook, language, forbidden).findings()


class _Refutation(NamedTuple):
    """Something of the record that stands against a claim, or that a claim would need."""

    about: str
    sure: bool
    fact: Fact | None = None


class _Claimed(NamedTuple):
    """A claim in the text, and what stands against it."""

    claim: str
    hit: Hit
    against: tuple[_Refutation, ...]


_SPACES = re.compile(r"\s+")


class _Vetting:
    """One text against one record."""

    def __init__(self, text: str, inspection: Inspection, assessment: Assessment,
                 rulebook: Rulebook, language: str, forbidden: Collection[str]) -> None:  # fmt: skip
        self._text, self._inspection, self._assessment = text, inspection, assessment
        self._kind = rulebook.kind(assessment.kind)
        self._rulebook = rulebook
        self._facts = establish(inspection, self._kind, assessment.assessed_on)
        self._own, plain = _own_words(assessment, rulebook, language)
        self._book = wordbook(rulebook, language, assessment.kind, plain)
        self._forbidden = _known_phrases(forbidden, self._book, assessment, language)
        rest, self._told = _without_own(text, self._own)
        self._reading = self._book.read(rest)

    def findings(self) -> tuple[Finding, ...]:
        """All findings, in the order of the text, omissions last."""
        claimed = [c for c in self._claims() if c.against]
        untrue = frozenset(i for c in claimed for i in range(c.hit.first, c.hit.last + 1))
        figures = check(
            self._reading, self._book, self._inspection, self._facts,
            self._assessment.assessed_on, self._taken | untrue,
        )  # fmt: skip
        omitted = self._omitted(figures.borne_out, untrue)
        claimed += [c for c in self._instead_of_lists(omitted) if c.against]
        found = [self._claim_finding(c) for c in claimed]
        found += [self._figure_finding(d) for d in figures.doubts]
        found += self._forbidden_findings({(f.topic, f.at) for f in found})
        found += [self._omission(d) for d in omitted]
        return tuple(sorted(dict.fromkeys(found), key=lambda f: (f.at, f.kind, f.topic, f.about)))

    # --- what the text says of functions -------------------------------------------------------

    @cached_property
    def _statuses(self) -> tuple[Status, ...]:
        """Every function the text names with how it stands, by the text."""
        reading = self._reading
        by_span: dict[tuple[int, int], set[str]] = {}
        for hit in reading.of("function"):
            by_span.setdefault((hit.first, hit.last), set()).add(hit.key)
        functions = [Mention(Hit("function.", *span), "") for span in by_span]
        states = [Mention(h, s) for h in reading.of("status") if (s := self._state(h))]
        found = [
            Status(f.hit, frozenset(by_span[f.hit.first, f.hit.last]), s.hit, s.means,
                   reading.tone(s.hit) == "hedged")  # fmt: skip
            for f, s in reading.pairs(functions, states, strict=True)
            if f.hit != s.hit
        ]
        poor = {s.function for s in found if s.state != "ok"}
        return tuple(s for s in found if s.state != "ok" or s.function not in poor)

    def _state(self, hit: Hit) -> str:
        """How a status word says that something stands; empty where it says nothing."""
        tone = self._reading.tone(hit)
        if tone == "denied":
            return {"ok": "fault", "fault": "ok"}.get(hit.key, "")
        return "" if tone == "unsaid" else hit.key

    @cached_property
    def _bound(self) -> list[Status]:
        """Statuses whose function stands before them, or is the very next noun."""
        return [s for s in self._statuses if -2 <= s.said.first - s.function.last or True]

    def _of_function(self, hit: Hit) -> bool:
        """A wording such as "works perfectly" is said of a named function, not of the whole."""
        for status in self._statuses:
            overlaps = status.said.first <= hit.last and hit.first <= status.said.last
            named = status.function.last < hit.first or 0 < status.function.first - hit.last <= 2
            if overlaps and named:
                return True
        return self._of_thing(hit, ("item", "thing"))

    def _of_thing(self, hit: Hit, tables: Sequence[str]) -> bool:
        """A thing beside the unit stands before the wording in its segment, or right behind it."""
        clause = self._reading.clause(hit)
        segments = self._reading.segments(clause.sentence, [hit])
        segment = next(s for s in segments if s.first <= hit.first and hit.last <= s.last)
        zones = {(z.first, z.last) for z in self._reading.of("zone")}
        for thing in (t for table in tables for t in self._reading.of(table)):
            if (thing.first, thing.last) in zones or self._reading.denied(thing):
                continue
            if segment.first <= thing.first and thing.last < hit.first:
                return True
            if 0 < thing.first - hit.last <= 2 and thing.last <= segment.last:
                return True
        return False

    @cached_property
    def _taken(self) -> frozenset[int]:
        """Tokens of claims and statuses: numbers in them are no figures."""
        tables = ("claim", "alone", "status", "forbidden")
        hits = [h for t in tables for h in self._reading.of(t)]
        hits = [h for h in hits if h.key != "water_resistant" and h.key not in _NUMBERED]
        return frozenset(i for h in hits for i in range(h.first, h.last + 1))

    # --- claims --------------------------------------------------------------------------------

    def _claims(self) -> Iterator[_Claimed]:
        for name, hit in self._stated():
            claim = self._book.claims[name]
            if claim.instead_of or not self._whole(claim, hit):
                continue
            against = tuple(self._against(name, claim, hit))
            yield _Claimed(name, hit, self._as_toned(hit, claim, against))
        yield from self._function_claims()
        yield from self._mark_claims()
        yield from self._part_claims()
        yield from self._accessory_claims()

    def _stated(self) -> list[tuple[str, Hit]]:
        """Every claim the text makes as a whole, less those that a longer one makes precise."""
        reading = self._reading
        hits = [(h.key, h) for h in reading.of("claim")]
        hits += [(h.key, h) for h in reading.of("alone") if not self._of_function(h)]
        stated = [(name, h) for name, h in hits if not self._excused(name, h)]
        return [(n, h) for n, h in stated if not any(_hidden(n, h, m, g, self._book.claims) for m, g in stated)]

    def _excused(self, name: str, hit: Hit) -> bool:
        """Part of a longer wording that only looks like the claim."""
        excuses = self._reading.named.get(f"but.{name}", ())
        return any(b.first <= hit.last and hit.first <= b.last for b in excuses)

    def _whole(self, claim: Claim, hit: Hit) -> bool:
        tone = self._reading.tone(hit, supposing=claim.supposing)
        if tone not in ("said", "hedged"):
            return False
        return not (claim.calm and self._of_thing(hit, ("thing",)))

    def _as_toned(
        self, hit: Hit, claim: Claim, against: Sequence[_Refutation]
    ) -> tuple[_Refutation, ...]:
        """A hedged claim is refuted only by what the record shows for sure."""
        if self._reading.tone(hit, supposing=claim.supposing) == "hedged":
            against = [r for r in against if r.sure]
        return tuple(sorted(against, key=lambda r: not r.sure))

    def _against(self, name: str, claim: Claim, hit: Hit) -> Iterator[_Refutation]:
        """What stands against a claim: never bearable, the class, rules that void it, facts."""
        if claim.never:
            yield _Refutation("", not claim.hearsay)
        lifted = self._lifted(claim, hit)
        zones = self._zones(hit) if claim.narrows == "zone" else frozenset()
        if name == "guarantee" and not self._has_guarantee:
            yield _Refutation("offer.guarantee", False)
        if not zones:
            yield from self._class_against(claim)
            yield from (r for r in self._voided(claim) if r.about not in lifted)
        for look in claim.refuted_by:
            for refutation in self._seen(look):
                kept = not zones or self._in_zones(refutation.fact, zones)
                if kept and refutation.about not in lifted:
                    yield refutation
        if claim.needs and not any(r.sure for look in claim.needs for r in self._seen(look)):
            yield _Refutation(claim.needs[0].subject, False)

    @property
    def _has_guarantee(self) -> bool:
        offer = self._inspection.offer
        return offer is not UNSET and offer.guarantee is not UNSET

    def _class_against(self, claim: Claim) -> Iterator[_Refutation]:
        sale_class = self._assessment.sale_class
        if not claim.classes or sale_class in claim.classes:
            return
        capping = [r for r in self._assessment.reasons if r.caps_class == sale_class]
        for reason in sorted(capping, key=lambda r: r.presumed)[:1]:
            yield _Refutation(reason.about, not reason.presumed)

    def _voided(self, claim: Claim) -> Iterator[_Refutation]:
        for reason in self._assessment.reasons:
            if set(self._rulebook.rule(reason.rule).voids) & set(claim.voids):
                yield _Refutation(reason.about, not reason.presumed)

    def _seen(self, look: Look) -> Iterator[_Refutation]:
        """What a look finds: sure, or open because nobody looked or work came after."""
        for verdict in verdicts(look.rule, self._facts):
            silent = verdict.outcome is Outcome.PRESUMED or verdict.fact is None
            if verdict.outcome is not Outcome.FIRES and (look.known_only or not silent):
                continue
            field = next(look.rule.condition.walk()).field
            about = verdict.about or UNIT_PATHS.get(field, field)
            yield _Refutation(about, verdict.outcome is Outcome.FIRES, verdict.fact)

    def _zones(self, hit: Hit) -> frozenset[str]:
        """The zones that a wording about looks is narrowed to."""
        zones = [Mention(z, z.key) for z in self._reading.of("zone") if not _overlap(z, hit)]
        pairs = self._reading.pairs(zones, [Mention(hit, "")], strict=True)
        return frozenset(zone.means for zone, _ in pairs)

    def _in_zones(self, fact: Fact | None, zones: frozenset[str]) -> bool:
        """A mark of one of the zones, or a picture where one of them is a display."""
        if isinstance(fact, MarkFact):
            return fact.zone in zones
        pictured = any(self._kind.zones[zone].material == "display" for zone in zones)
        return fact is None or (pictured and fact.about.startswith("displays"))

    def _lifted(self, claim: Claim, hit: Hit) -> frozenset[str]:
        """Paths that the text itself sets apart from a claim: "all works except the NFC"."""
        if claim.lifted_by is None:
            return frozenset()
        reading, sentence = self._reading, self._reading.sentence(hit)
        statuses = [s for s in self._statuses if s.state != "ok"]
        if claim.lifted_by == "exception":
            statuses = [s for s in statuses if reading.sentence(s.said) == sentence]
        functions = {f for s in statuses for f in s.functions}
        lifted = set()
        if any(reading.sentence(h) == sentence for h in reading.named.get("tone.except", ())):
            listed = reading.named.get("notion.listed", ())
            if any(reading.sentence(h) == sentence for h in listed):
                return frozenset(d.about for d in self._assessment.disclosures if self._tells(d))
            near = [h for h in reading.hits if reading.sentence(h) == sentence and not _overlap(h, hit)]
            functions |= {h.key for h in near if h.table == "function"}
            marks = {h.key for h in near if h.table == "mark"}
            lifted |= {m.about for m in self._facts.marks if m.kind in marks}
        return frozenset(lifted | {t.about for t in self._facts.tests if t.function in functions})

    # --- claims about one function, mark, part or accessory ------------------------------------

    def _function_claims(self) -> Iterator[_Claimed]:
        """``NFC works`` needs a pass that stands; ``NFC not tested`` needs that there is none."""
        for status in self._statuses:
            tests = [t for t in self._facts.tests if t.function in status.functions]
            if status.state == "ok":
                bad = [t for t in tests if t.result != "pass" or "result" in t.open]
                against = [_Refutation(t.about, t.result in ("fail", "partial")) for t in bad]
                name = "function_works"
                if not tests:
                    against = [_Refutation("device.has", False)]
            elif status.state == "untested":
                known = [t for t in tests if t.result is not None and "result" not in t.open]
                against = [_Refutation(t.about, True) for t in known if len(known) == len(tests)]
                name = "untested"
            else:
                continue
            against = [r for r in against if r.sure or not status.hedged]
            hit = Hit("", *_around(status.function, status.said))
            yield _Claimed(name, hit, tuple(sorted(against, key=lambda r: not r.sure)))

    def _mark_claims(self) -> Iterator[_Claimed]:
        """``No scratches`` asks for marks of that kind, where the text says so of a zone, there."""
        reading = self._reading
        for lack, mark in self._lacks():
            hit = Hit("", *_around(lack, mark))
            if reading.tone(hit) not in ("said", "hedged") or self._of_thing(mark, ("thing",)):
                continue
            kinds = {m.key for m in reading.of("mark") if (m.first, m.last) == (mark.first, mark.last)}
            zones = self._zones(hit)
            against = [
                _Refutation(m.about, True)
                for m in self._facts.marks
                if m.kind in kinds and (not zones or m.zone in zones) and self._meant(m, lack, mark)
            ]
            if not against and "marks" in self._facts.open_subjects:
                against = [_Refutation("marks", False)]
            if reading.tone(hit) == "hedged":
                against = [r for r in against if r.sure]
            yield _Claimed("no_such_mark", hit, tuple(against))
        yield from self._counts()

    def _lacks(self) -> Iterator[tuple[Hit, Hit]]:
        """Each word of lack with the mark it is said of; ``scratch-free`` is both in one."""
        reading = self._reading
        marks = {(m.first, m.last): m for m in reading.of("mark")}
        lacks = [Mention(h, "") for h in reading.of("lack")]
        spans = [Mention(m, "") for m in marks.values()]
        for mark, lack in reading.pairs(spans, lacks, strict=True):
            apart = mark.hit.first - lack.hit.last - 1
            same = reading.clause(mark.hit) == reading.clause(lack.hit)
            if (not same or 0 <= apart <= 6) and not self._further(lack.hit, mark.hit):
                yield lack.hit, mark.hit
        for free in reading.of("free"):
            yield free, Hit(f"mark.{free.key}", free.first, free.last)

    def _further(self, lack: Hit, mark: Hit) -> bool:
        """``No other scratches``: said of what is not listed."""
        further = self._reading.named.get("notion.further", ())
        return any(lack.last < h.first and h.last < mark.first for h in further)

    def _meant(self, fact: MarkFact, lack: Hit, mark: Hit) -> bool:
        """``No deep scratches`` leaves shallow ones out, ``no visible ones`` the unseen."""

        def between(notion: str) -> bool:
            hits = self._reading.named.get(f"notion.{notion}", ())
            return any(lack.last < h.first and h.last < mark.first for h in hits)

        if between("severe"):
            long = fact.length_mm is not None and fact.length_mm > _LONG_MM
            return fact.depth in ("through_coat", "through_part") or long or fact.visibility == 3
        return not (between("visible") and fact.visibility == 0)

    def _counts(self) -> Iterator[_Claimed]:
        """``One scratch`` where the record holds three."""
        reading, tokens = self._reading, self._reading.text.tokens
        marks = {(m.first, m.last): m for m in reading.of("mark")}.values()
        kept = [m for m in marks if not self._of_thing(m, ("thing",)) and not reading.denied(m)]
        counted = [(m, n) for m in kept if (n := _count_before(tokens, m, self._book)) is not None]
        for mark, number in counted:
            kinds = {m.key for m in reading.of("mark") if (m.first, m.last) == (mark.first, mark.last)}
            zones = self._zones(mark)
            recorded = [m for m in self._facts.marks if m.kind in kinds]
            here = [m for m in recorded if not zones or m.zone in zones]
            told = sum(n for m, n in counted if m.key == mark.key)
            others = sum(1 for m in kept if m.key == mark.key) - len(
                [m for m, _ in counted if m.key == mark.key]
            )
            if number < len(here) and told + others < len(recorded):
                against = (_Refutation(here[-1].about, True),)
                yield _Claimed("mark_count", Hit("", _count_at(tokens, mark), mark.last), against)

    def _part_claims(self) -> Iterator[_Claimed]:
        """``New screen``, ``battery replaced``, ``original display``: what is recorded of parts."""
        reading = self._reading
        spans = {(p.first, p.last): p for p in reading.of("part")}
        parts = [Mention(p, "") for p in spans.values()]
        renewed = [Mention(h, "") for h in reading.named.get("renewed.yes", ())]
        for part, word in reading.pairs(parts, renewed, strict=True):
            yield from self._replaced(part.hit, word.hit)
        for word in self._adjectives("new"):
            yield from (c for p in self._right_behind(word, spans.values()) for c in self._replaced(p, word))
        original = [Mention(h, "") for h in reading.named.get("notion.original", ())]
        for part, word in reading.pairs(parts, original, strict=True):
            yield from self._original(part.hit, word.hit)

    def _adjectives(self, notion: str) -> list[Hit]:
        claims = [h for h in self._reading.of("claim") if h.key in ("new_battery", "battery_like_new")]
        hits = self._reading.named.get(f"notion.{notion}", [])
        return [h for h in hits if not any(_overlap(h, c) for c in claims)]

    def _right_behind(self, word: Hit, nouns: Iterable[Hit]) -> list[Hit]:
        clause = self._reading.clause(word)
        return [n for n in nouns if 0 < n.first - word.last <= 2 and n.last <= clause.last]

    def _keys(self, table: str, hit: Hit) -> set[str]:
        """Every word of a table that a wording may stand for."""
        return {h.key for h in self._reading.of(table) if (h.first, h.last) == (hit.first, hit.last)}

    def _replaced(self, part: Hit, word: Hit) -> Iterator[_Claimed]:
        hit = Hit("", *_around(part, word))
        if "unsaid" in (self._reading.tone(word), self._reading.tone(part)) or self._reading.denied(word):
            return
        if self._of_thing(part, ("thing",)) or self._is_thing(part):
            return
        keys = self._keys("part", part)
        fitted = [p for p in self._facts.parts if p.part in keys]
        worked = [r for r in self._facts.repairs if r.work in keys | self._keys("work", part)]
        if not fitted and not worked:
            yield _Claimed("part_replaced", hit, (_Refutation("parts", False),))

    def _is_thing(self, hit: Hit) -> bool:
        return any(_overlap(hit, t) for t in self._reading.of("thing"))

    def _original(self, part: Hit, word: Hit) -> Iterator[_Claimed]:
        if self._reading.tone(word) not in ("said", "hedged") or self._is_thing(part):
            return
        keys = self._keys("part", part)
        fitted = [p for p in self._facts.parts if p.part in keys]
        against = [
            _Refutation(p.about, "standing" not in p.open)
            for p in fitted
            if p.standing not in _ORIGINAL or "standing" in p.open
        ]
        if not fitted and self._facts.unit[0].earlier_work is not False:
            against = [_Refutation("parts", False)]
        if self._reading.tone(word) == "hedged":
            against = [r for r in against if r.sure]
        yield _Claimed("original_part", Hit("", *_around(part, word)), tuple(against))

    def _accessory_claims(self) -> Iterator[_Claimed]:
        """``With charger`` needs a charger that the record holds as included."""
        reading = self._reading
        spans = {(i.first, i.last): i for i in reading.of("item")}
        items = [Mention(i, "") for i in spans.values()]
        words = [Mention(h, "") for h in reading.named.get("included.yes", ())]
        for item, word in reading.pairs(items, words, strict=False):
            apart = max(item.hit.first - word.hit.last, word.hit.first - item.hit.last) - 1
            same = reading.clause(item.hit) == reading.clause(word.hit)
            toned = {reading.tone(item.hit), reading.tone(word.hit)}
            if (same and apart > _ACCESSORY_REACH) or toned & {"denied", "unsaid"}:
                continue
            keys = self._keys("item", item.hit)
            if not any(a.item in keys for a in self._facts.accessories):
                sure = "accessories" not in self._facts.open_subjects
                hit = Hit("", *_around(item.hit, word.hit))
                yield _Claimed("accessory_included", hit, (_Refutation("accessories", sure),))

    # --- claims instead of lists, omissions ----------------------------------------------------

    def _omitted(self, figures: frozenset[str], untrue: frozenset[int]) -> list[Disclosure]:
        self._telling = Telling(self._reading, self._book, self._statuses, figures, untrue)
        return [d for d in self._assessment.disclosures if not self._tells(d)]

    def _tells(self, disclosure: Disclosure) -> bool:
        key = (disclosure.topic, disclosure.about)
        if key in self._told:
            return True
        telling = getattr(self, "_telling", None) or Telling(
            self._reading, self._book, self._statuses, frozenset(), frozenset()
        )
        return telling.told(disclosure, self._own.get(key))

    def _instead_of_lists(self, omitted: Sequence[Disclosure]) -> Iterator[_Claimed]:
        """General words ("minor wear", "see photos") while a mark or fault is not named."""
        for name, hit in self._stated():
            claim = self._book.claims[name]
            if not claim.instead_of or not self._whole(claim, hit):
                continue
            against = [
                _Refutation(d.about, True)
                for d in omitted
                if d.about.partition("[")[0] in claim.instead_of
            ]
            opens = [s for s in claim.instead_of if s in self._facts.open_subjects and s == "marks"]
            against += [_Refutation(s, False) for s in opens]
            yield _Claimed(name, hit, tuple(against))

    # --- findings ------------------------------------------------------------------------------

    def _claim_finding(self, claimed: _Claimed) -> Finding:
        words = self._book.words[claimed.claim]
        claim = self._book.claims[claimed.claim]
        sure = claimed.against[0].sure
        say = "" if claim.never else self._book.say("against" if sure else "open")
        texts = [t for r in claimed.against if r.sure for t in self._texts(r.about)]
        instead = " ".join(dict.fromkeys(texts[:2])) or words.instead
        return self._finding("claim", claimed.claim, claimed.hit, claimed.against[0].about,
                             f"{words.why} {say}".strip(), instead)  # fmt: skip

    def _texts(self, about: str) -> list[str]:
        return [text for (_, path), text in self._own.items() if path == about]

    def _figure_finding(self, doubt: Doubt) -> Finding:
        name = doubt.stated.figure
        say = self._book.say(doubt.why).format(recorded=doubt.recorded)
        mend = {"differs": "correct", "old": "reread"}.get(doubt.why, "leave_out")
        instead = self._book.say(mend).format(recorded=doubt.recorded)
        why = f"{self._book.figure_words[name].why} {say}"
        return self._finding("claim", name, doubt.stated.hit, "", why, instead)

    def _finding(
        self, kind: Literal["claim", "forbidden"], topic: str, hit: Hit, about: str, why: str,
        instead: str,
    ) -> Finding:  # fmt: skip
        start, end = self._reading.text.span(hit)
        return Finding(kind=kind, topic=topic, quote=self._text[start:end], at=(start, end),
                       about=about, why=why, instead=instead)  # fmt: skip

    def _omission(self, disclosure: Disclosure) -> Finding:
        end = len(self._text)
        own = self._own.get((disclosure.topic, disclosure.about), "")
        return Finding(kind="omission", topic=disclosure.topic, quote="", at=(end, end),
                       about=disclosure.about, why=self._book.say("unsaid"), instead=own)  # fmt: skip

    def _forbidden_findings(
        self, found: Collection[tuple[str, tuple[int, int]]]
    ) -> Iterator[Finding]:
        stated = [(n, h) for n, h in self._stated() if self._whole(self._book.claims[n], h)]
        made = {name for name, _ in stated}
        for phrase in sorted(self._forbidden & self._book.forbidden.keys()):
            words = self._book.forbidden[phrase]
            hits = self._phrase_hits(phrase)
            if words.beside and made >= set(words.beside):
                hits = [h for n, h in stated if n == words.beside[0]]
            for hit in hits:
                yield self._finding("forbidden", phrase, hit, "", words.why, words.instead)
        for name, hit in stated:
            if name in self._forbidden and (name, self._reading.text.span(hit)) not in found:
                words = self._book.words[name]
                why = self._book.say("forbidden")
                yield self._finding("forbidden", name, hit, "", why, words.instead)

    def _phrase_hits(self, phrase: str) -> list[Hit]:
        hits = self._reading.named.get(f"forbidden.{phrase}", ())
        return [
            h
            for h in hits
            if not self._excused(phrase, h)
            and not self._reading.denied(h)
            and self._reading.tone(h) != "unsaid"
        ]


_LONG_MM = 20.0
"""A mark longer than this is no small one (common practice)."""

_ACCESSORY_REACH = 8
"""Words between "with" and the thing that comes with it, at most."""

_ORIGINAL = ("maker_supplied", "authorised_supplied", "original_confirmed")

_NUMBERED = ("maker_warranty", "guarantee", "no_warranty", "no_refunds", "battery_good", "new_battery")
"""Claims whose own wording may hold a figure that is checked by itself."""


def _own_words(
    assessment: Assessment, rulebook: Rulebook, language: str
) -> tuple[dict[tuple[str, str], str], dict[str, str]]:
    """Our own sentence for each disclosure, and plain words; none where a language has no phrases."""
    if language not in languages(rulebook):
        return {}, {}
    phrases = _phrases(rulebook, language)
    own = {(s.topic, s.about): s.text for s in sentences(assessment, phrases, rulebook)}
    return own, phrases.words.word


_compiled: dict[tuple[int, str], tuple[Rulebook, Phrases]] = {}


def _phrases(rulebook: Rulebook, language: str) -> Phrases:
    """The phrases of a language, whose templates are compiled once."""
    key = (id(rulebook), language)
    if key not in _compiled:
        _compiled[key] = (rulebook, Phrases(rulebook, language))
    return _compiled[key][1]


def _known_phrases(
    forbidden: Collection[str], book: Wordbook, assessment: Assessment, language: str
) -> frozenset[str]:
    """The forbidden names; UnknownName for one that is no phrase, no claim and no voided word."""
    known = {*book.forbidden, *book.claims, *assessment.voids}
    unknown = sorted(set(forbidden) - known)
    if unknown:
        problem = f"claims/{language}.toml has no such phrase or claim"
        remedy = f"known phrases: {', '.join(sorted(book.forbidden))}"
        raise UnknownName([Problem(where=n, problem=problem, remedy=remedy) for n in unknown])
    return frozenset(forbidden)


def _without_own(
    text: str, own: dict[tuple[str, str], str]
) -> tuple[str, frozenset[tuple[str, str]]]:
    """The text with our own sentences blanked out, and which of them stood in it."""
    folded, places = _squeezed(text)
    rest, told = text, set()
    for key, sentence in own.items():
        wanted = _squeezed(sentence)[0].strip()
        if not wanted:
            continue
        at = folded.find(wanted)
        while at >= 0:
            told.add(key)
            start, end = places[at], places[at + len(wanted) - 1] + 1
            rest = rest[:start] + "\n" + " " * (end - start - 1) + rest[end:]
            at = folded.find(wanted, at + len(wanted))
    return rest, frozenset(told)


def _squeezed(text: str) -> tuple[str, list[int]]:
    """The text in lower case with runs of spaces as one, and where each letter came from."""
    letters, places = [], []
    for i, char in enumerate(text):
        if char.isspace():
            if letters and letters[-1] != " ":
                letters.append(" ")
                places.append(i)
        else:
            small = char.lower()
            letters.append(small if len(small) == 1 else char)
            places.append(i)
    return "".join(letters), places


def _overlap(a: Hit, b: Hit) -> bool:
    return a.first <= b.last and b.first <= a.last


def _around(a: Hit, b: Hit) -> tuple[int, int]:
    return min(a.first, b.first), max(a.last, b.last)


def _hidden(
    name: str, hit: Hit, other: str, longer: Hit, claims: dict[str, Claim]
) -> bool:
    """A longer or equal wording of a claim that makes this one precise stands over it."""
    held = longer.first <= hit.first and hit.last <= longer.last
    return held and name in claims[other].hides


def _count_before(tokens: Sequence[object], mark: Hit, book: Wordbook) -> float | None:
    at = _count_at(tokens, mark, book)
    if at == mark.first:
        return None
    word = tokens[at].word  # type: ignore[attr-defined]
    return book.numbers.get(word, float(word) if word.isdigit() else None)
