"""PART CLAIMS: "new screen", "original battery", "with charger": parts and accessories.

It serves the claim check: what a text says of a part's newness and make, and of what comes with the
unit, is held against the parts, works and accessories on record.
"""

from collections.abc import Iterable, Iterator
from functools import partial

from gradekit.assertions import Assertions, around, excused, overlap
from gradekit.evidence import Claimed, Record, Refutation
from gradekit.statements import Mention
from gradekit.statuses import spans
from gradekit.wordings import Hit

_WITH_REACH = 8
"""Words between "with" and the thing that comes with it, at most."""

_ORIGINAL = ("maker_supplied", "authorised_supplied", "original_confirmed")


class PartClaims:
    """What one text says of parts and accessories, against one record."""

    def __init__(self, said: Assertions, record: Record) -> None:
        self._said, self._record, self._reading = said, record, said.reading
        self._facts = record.facts

    def refuted(self) -> Iterator[Claimed]:
        """Every claim about parts and accessories, with what stands against it."""
        yield from self._of_parts()
        yield from self._of_presence()
        yield from self._of_accessories()

    def _of_parts(self) -> Iterator[Claimed]:
        """``New screen``, ``battery replaced``, ``original display``."""
        parts = spans(h for h in self._reading.of("part") if self._is_part(h))
        mentions = [
            Mention(Hit("part.", *place), "") for place in parts if not self._is_place(place)
        ]
        renewed = [Mention(h, "") for h in self._reading.named.get("renewed.yes", ())]
        renewals = list(self._reading.pairs(mentions, renewed, strict=True))
        renewals += [(m, w) for w in self._adjectives("new") for m in self._behind(w, mentions)]
        for part, word in self._nearest(renewals):
            keys = parts[part.hit.first, part.hit.last]
            if self._claimed("part_replaced", word.hit):
                yield self._replaced(part.hit, word.hit, keys)
            elif self._reading.tone(word.hit) == "denied":
                against = tuple(
                    Refutation(p.about, True) for p in self._facts.parts if p.part in keys
                )
                yield Claimed("never_repaired", Hit("", *around(part.hit, word.hit)), against)
        original = [Mention(h, "") for h in self._reading.named.get("notion.original", ())]
        for part, word in self._nearest(self._reading.pairs(mentions, original, strict=True)):
            looked_up = self._said.of_claim(word.hit, but="new_battery")
            if self._claimed("original_part", word.hit) and not looked_up:
                yield self._original(part.hit, word.hit, parts[part.hit.first, part.hit.last])

    def _claimed(self, name: str, word: Hit) -> bool:
        """The word is said or hedged, and is no part of a wording that only looks like a claim."""
        toned = self._reading.tone(word) in ("said", "hedged")
        return toned and not excused(self._reading, name, word)

    def _of_presence(self) -> Iterator[Claimed]:
        """``Battery present`` where the record holds that it is missing or was taken out."""
        parts = spans(self._reading.of("part"))
        mentions = [Mention(Hit("part.", *place), "") for place in parts]
        present = [Mention(h, "") for h in self._reading.named.get("notion.present", ())]
        gone = [(g.part, g.about) for g in self._facts.missing]
        gone += [(g.part, g.about) for g in self._facts.removed]
        for part, word in self._reading.pairs(mentions, present, strict=True):
            keys = parts[part.hit.first, part.hit.last]
            against = tuple(Refutation(about, True) for name, about in gone if name in keys)
            tones = {self._reading.tone(part.hit), self._reading.tone(word.hit)}
            if against and not tones & {"denied", "unsaid"}:
                yield Claimed("complete", Hit("", *around(part.hit, word.hit)), against)

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

    def _is_part(self, hit: Hit) -> bool:
        """A word such as "cable" means a part where one was fitted, else a thing in the box."""
        return not self._is_thing(hit) or any(p.part == hit.key for p in self._facts.parts)

    def _is_thing(self, hit: Hit) -> bool:
        return any(t.first <= hit.first and hit.last <= t.last for t in self._reading.of("thing"))

    def _adjectives(self, notion: str) -> list[Mention]:
        """Words such as "new" that belong to no claim of their own."""
        hits = self._reading.named.get(f"notion.{notion}", ())
        reading = self._reading
        claims = [h for h in reading.of("claim") if not excused(reading, h.key, h)]
        return [Mention(h, "") for h in hits if not any(overlap(h, c) for c in claims)]

    def _behind(self, word: Mention, nouns: Iterable[Mention]) -> list[Mention]:
        """Nouns right behind an adjective; in some languages also right before it."""
        clause, both = self._reading.clause(word.hit), self._said.book.habits.noun_first
        inside = [n for n in nouns if clause.first <= n.hit.first and n.hit.last <= clause.last]
        return [
            n
            for n in inside
            if 0 < n.hit.first - word.hit.last <= 2
            or (both and 0 < word.hit.first - n.hit.last <= 2)
        ]

    def _replaced(self, part: Hit, word: Hit, keys: frozenset[str]) -> Claimed:
        works = {h.key for h in self._reading.of("work") if overlap(h, part)}
        fitted = [p for p in self._facts.parts if p.part in keys]
        worked = any(r.work in keys | works for r in self._facts.repairs)
        against = [] if fitted or worked else [Refutation("parts", False)]
        if self._reading.touching(self._reading.named.get("notion.unused", ()), word):
            against += [Refutation(p.about, True) for p in fitted if p.used]
        return Claimed("part_replaced", Hit("", *around(part, word)), tuple(against))

    def _original(self, part: Hit, word: Hit, keys: frozenset[str]) -> Claimed:
        fitted = [p for p in self._facts.parts if p.part in keys]
        passed_on = self._reading.named.get("standing.claimed_original", ())
        told = any(overlap(word, h) and h != word for h in passed_on)
        allowed = (*_ORIGINAL, "claimed_original") if told else _ORIGINAL
        against = [
            Refutation(p.about, "standing" not in p.open)
            for p in fitted
            if p.standing not in allowed or "standing" in p.open
        ]
        if not fitted and self._facts.unit[0].earlier_work is not False:
            against = [Refutation("parts", False)]
        return Claimed("original_part", Hit("", *around(part, word)), tuple(against))

    def _of_accessories(self) -> Iterator[Claimed]:
        """``With charger`` needs a charger that the record holds as included."""
        reading = self._reading
        items = spans(reading.of("item"))
        mentions = [Mention(Hit("item.", *place), "") for place in items]
        words = [Mention(h, h.key) for h in reading.of("included")]
        for item, word in reading.pairs(mentions, words, strict=False):
            keys = items[item.hit.first, item.hit.last]
            if word.means != "yes" or not self._comes_with(item.hit, word.hit):
                continue
            if self._of_unit(item.hit, keys):
                continue
            if not any(a.item in keys for a in self._facts.accessories):
                sure = "accessories" not in self._facts.open_subjects
                hit = Hit("", *around(item.hit, word.hit))
                yield Claimed("accessory_included", hit, (Refutation("accessories", sure),))

    def _of_unit(self, item: Hit, keys: frozenset[str]) -> bool:
        """A function ("with a memory card slot"), a part that was fitted, or the unit itself."""
        reading = self._reading
        functions = reading.touching(reading.of("function"), item)
        device = reading.touching(reading.named.get("notion.device", ()), item)
        itself = bool(device) and not keys & set(self._record.kind.accessories)
        fitted = {p.part for p in self._facts.parts}
        itself |= any(p.key in fitted for p in reading.touching(reading.of("part"), item))
        return itself or any(f.last - f.first > item.last - item.first for f in functions)

    def _comes_with(self, item: Hit, word: Hit) -> bool:
        """The word of inclusion reaches the thing, and neither is denied or only supposed."""
        reading = self._reading
        if overlap(item, word):
            return False
        apart = max(item.first - word.last, word.first - item.last) - 1
        if reading.clause(item) == reading.clause(word) and apart > _WITH_REACH:
            return False
        return not {reading.tone(item), reading.tone(word)} & {"denied", "unsaid"}


def _distance(word: Mention, part: Mention) -> int:
    return max(word.hit.first - part.hit.last, part.hit.first - word.hit.last)
