"""WORDINGS: somebody's own text as words in clauses, and where known wordings stand in it.

It serves the claim check: letters are made alike, slips of one letter in long words are mended, and
every wording of the lexicon is found in one pass. It does not ask what a wording claims, nor
whether it is true.

A wording is a row of words. Case, accents, hyphens and line ends never matter. Beside plain words:

    work*  *akku  *akku*    a word that begins, ends so, or holds this
    ouvert-                 a word with each of the language's endings
    a b|c                   either row of words
    a (b c|d)               either row in brackets;  (…)? and [a b|c]  may be absent
    ~  ~3                   up to two (three) words of any sort, but for denials such as "not"
    #                       a number
    ^  $                    the clause begins (ends) here
    {name}                  a row of the lexicon's table ``sets``
"""

import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from functools import lru_cache
from typing import NamedTuple

SLIP_LETTERS = 7
"""Words from this length on may have one wrong, missing, extra or swapped letter."""


_LONGEST = 60
"""Longer rows of letters are no words."""


class Token(NamedTuple):
    """A word as it is compared, and where it stands in the text as it was given."""

    word: str
    start: int
    end: int
    clause: int


class Clause(NamedTuple):
    """A stretch without a break: its tokens, the sign that ends it, its sentence and heading."""

    first: int
    last: int
    end: str
    sentence: int
    heading: int | None
    """The sentence above it that ends in a colon and that its line stands under, if any."""


class Hit(NamedTuple):
    """A wording found: its name in the lexicon, and the tokens from ``first`` to ``last``."""

    name: str
    first: int
    last: int

    @property
    def table(self) -> str:
        """The part of the name before the dot."""
        return self.name.partition(".")[0]

    @property
    def key(self) -> str:
        """The part of the name behind the dot."""
        return self.name.partition(".")[2]


class Habits(NamedTuple):
    """How a language is written."""

    apostrophe_parts: bool = False
    """An apostrophe stands between two words (l'appareil), not inside one (doesn't)."""
    umlauts: bool = False
    """ä, ö and ü are ae, oe and ue, and no a, o and u (würde is not wurde)."""
    abbreviations: frozenset[str] = frozenset()
    contrast: frozenset[str] = frozenset()
    """Words that begin a new clause."""
    every: frozenset[str] = frozenset()
    """Words behind which they do not: "everything but the lamp"."""
    dependent: frozenset[str] = frozenset()
    """Words before which a comma ends nothing: the main clause bears on theirs (…, dass …)."""
    ordinals: frozenset[str] = frozenset()
    """Words before which a full stop makes a number an ordinal (12. November)."""
    leading: frozenset[str] = frozenset()
    """Words that end no line, whatever begins the next: nouns may have capitals."""
    labels: frozenset[str] = frozenset()
    """Words that name what the word behind a colon is said of (condition: new)."""
    denials: frozenset[str] = frozenset()
    """Words that a gap in a wording never takes in: "not", "no"."""
    endings: tuple[str, ...] = ()
    """What ``-`` behind a word of a wording stands for: gender, number, case."""
    true_words: frozenset[str] = frozenset()
    """Words that are one letter from a word of the lexicon and are no slip."""


# --- letters -----------------------------------------------------------------------------------

_ALIKE = {"œ": "oe", "æ": "ae"}
_ALIKE |= dict.fromkeys("\u2019\u2018\u02bc\u00b4`", "'")  # apostrophes and accents by themselves
_ALIKE |= dict.fromkeys("\u2010\u2011\u2012\u2212", "-") | dict.fromkeys("“”„«»″‟", '"')
_ALIKE |= dict.fromkeys("✓✔✅☑", "✓") | dict.fromkeys("✗✘❌✖❎", "✗")
_ALIKE |= {"–": " - ", "—": " - "}
_ALIKE |= {space: space for space in "\u00a0\u202f"}  # they may hold a number together
_LATIN = 0xFF
"""Signs up to here (°, ®) stand inside a phrase; pictures, which stand above, end one."""


@lru_cache(maxsize=4096)
def _alike(char: str, umlauts: bool) -> str:
    """One character as it is compared: case, accents, width and kind of quote taken away."""
    if char in _ALIKE:
        return _ALIKE[char]
    if umlauts and char == _DIAERESIS:
        return "e"
    plain = "".join(_ALIKE.get(c, c) for c in unicodedata.normalize("NFKC", char).casefold())
    decomposed = unicodedata.normalize("NFD", plain)
    if umlauts and decomposed[:1] in ("a", "o", "u"):
        decomposed = decomposed.replace(_DIAERESIS, "e")
    bare = "".join(c for c in decomposed if not unicodedata.combining(c))
    if bare and unicodedata.category(bare[0]) in ("So", "Sk", "Cs"):
        return ";" if ord(bare[0]) > _LATIN else ""
    return "" if unicodedata.category(char) in ("Cf", "Mn") else bare


def fold(text: str, habits: Habits) -> tuple[str, list[int]]:
    """The text with letters made alike, and for each of its letters the place it came from."""
    pieces = [_alike(char, habits.umlauts) for char in text]
    places = [i for i, piece in enumerate(pieces) for _ in piece]
    folded = "".join(pieces)
    if habits.apostrophe_parts:
        return folded, places
    drop = {m.start() for m in _APOSTROPHE.finditer(folded)}
    if not drop:
        return folded, places
    kept = [i for i in range(len(folded)) if i not in drop]
    return "".join(folded[i] for i in kept), [places[i] for i in kept]


_DIAERESIS = "\u0308"
_APOSTROPHE = re.compile(r"(?<=[a-z])'(?=[a-z])")

_PIECE = re.compile(
    r"""(?P<number>\d{1,3}(?:[\u00a0\u202f]\d{3})+(?!\d)(?:[.,]\d+)?
          |\d{1,3}(?:[ ]\d{3})+(?=(?:[.,]\d\d)?\s?(?:[€$£]|eur))(?:[.,]\d\d)?
          |\d+(?:[.,]\d+)*)(?P<inch>\s?(?:"|'')(?!\w))?
      | (?P<word>[^\W\d_]+\d*)
      | (?P<sign>[%€$£✓✗&+/<>~])
      | (?P<break>\n[\s]*(?:[-*•·]\s*)?|\s-+\s|[-–]{2,}|[.!?]+|[,;:()\[\]|•·=_])
    """,
    re.VERBOSE,
)
_SENTENCE_ENDS = ".!?\n"
_WRAPPED_AT = 50
"""A line this long or longer may end because it was wrapped, not because it was finished."""


def _wrapped(folded: str, piece: re.Match[str], line_start: int, goes_on: bool) -> bool:
    """The line ends only because it was full: long, unfinished, and carried on below."""
    before = folded[: piece.start()].rstrip()[-1:]
    long = piece.start() - line_start >= _WRAPPED_AT
    return long and not piece["break"].strip() and before not in ".!?:;" and goes_on


class Text:
    """A text as tokens in clauses in sentences."""

    def __init__(self, text: str, habits: Habits) -> None:
        self.given = text
        self.tokens: list[Token] = []
        self.clauses: list[Clause] = []
        self._habits = habits
        self._read()

    def _read(self) -> None:
        folded, places = fold(self.given, self._habits)
        places.append(len(self.given))
        self._sentence, self._first = 0, 0
        self._heading: int | None = None
        line_start = 0
        for piece in _PIECE.finditer(folded):
            start, end = places[piece.start()], places[piece.end() - 1] + 1
            sign = piece["break"]
            if sign is None:
                self._add(piece, start, end)
            elif sign[0] == "\n":
                after = self.given[places[piece.end()] :][:1]
                leads = bool(self.tokens) and self.tokens[-1].word in self._habits.leading
                goes_on = after.islower() or (leads and after.isalnum())
                if not _wrapped(folded, piece, line_start, goes_on):
                    self._break("\n\n" if "\n" in sign[1:] else "\n")
                line_start = piece.end()
            elif not self._runs_on(piece, folded):
                self._break("?" if "?" in sign else sign.strip()[-1])
        self._break("\n\n")

    def _add(self, piece: re.Match[str], start: int, end: int) -> None:
        word = piece["word"] or "".join((piece["number"] or piece["sign"]).split())
        begun = self.tokens[self._first :]
        every = len(begun) == 1 and begun[0].word in self._habits.every
        if word in self._habits.contrast and begun and not every:
            self._break(",")
        if piece["inch"]:
            self.tokens.append(Token(word, start, end - 1, len(self.clauses)))
            word, start = '"', end - 1
        self.tokens.append(Token(word, start, end, len(self.clauses)))

    def _abbreviated(self, piece: re.Match[str]) -> bool:
        """A full stop that belongs to an abbreviation ends nothing."""
        if piece["break"] != "." or not self.tokens:
            return False
        last = self.tokens[-1]
        touches = self.given[last.end : last.end + 1] == "."
        return touches and (last.word in self._habits.abbreviations or len(last.word) == 1)

    def _labels(self, sign: str) -> bool:
        """A colon behind a label ends nothing: "condition: new" is one clause."""
        count = len(self.tokens) - self._first
        return sign == ":" and 0 < count <= 2 and self.tokens[-1].word in self._habits.labels

    def _runs_on(self, piece: re.Match[str], folded: str) -> bool:
        """The sign ends nothing: of an abbreviation, a label, an ordinal, a dependent clause."""
        sign = piece["break"]
        if self._abbreviated(piece) or self._labels(sign):
            return True
        behind = _PIECE.match(folded, piece.end() + 1)
        word = behind["word"] if behind else None
        if sign == ",":
            begun = [token.word for token in self.tokens[self._first :]]
            return bool(begun) and not {begun[0], word}.isdisjoint(self._habits.dependent)
        number = bool(self.tokens) and self.tokens[-1].word.isdigit()
        return sign == "." and number and word in self._habits.ordinals

    def _break(self, sign: str) -> None:
        ends = sign[0] in _SENTENCE_ENDS
        if self._first == len(self.tokens):
            self._break_again(sign, ends)
            return
        sentence, heading = self._sentence, self._heading
        last = len(self.tokens) - 1
        self.clauses.append(Clause(self._first, last, sign, sentence, heading))
        self._first = len(self.tokens)
        if ends:
            self._sentence += 1
        if sign == "\n\n":
            self._heading = None

    def _break_again(self, sign: str, ends: bool) -> None:
        """A second sign behind a clause: a line that ends in a colon heads the lines below."""
        if not self.clauses or not ends:
            return
        before = self.clauses[-1]
        if before.end == ":" and sign[0] == "\n":
            self._heading = before.sentence
        elif sign == "\n\n":
            self._heading = None
        if before.sentence == self._sentence:
            self.clauses[-1] = before._replace(end=before.end if before.end == ":" else sign)
            self._sentence += 1

    def clause_of(self, token: int) -> Clause:
        """The clause a token stands in."""
        return self.clauses[self.tokens[token].clause]

    def span(self, hit: Hit) -> tuple[int, int]:
        """Where a hit begins and ends in the text as it was given."""
        return self.tokens[hit.first].start, self.tokens[hit.last].end

    @property
    def sentences(self) -> int:
        """How many sentences there are."""
        return self.clauses[-1].sentence + 1 if self.clauses else 0


# --- wordings ----------------------------------------------------------------------------------


class Word(NamedTuple):
    """One token: an exact word, ``x*``, ``*x``, ``*x*``, or ``#`` for a number."""

    one: str


class Either(NamedTuple):
    """One of several rows; an empty row makes it optional."""

    rows: tuple["Row", ...]


class Gap(NamedTuple):
    """Up to so many tokens of any sort."""

    most: int


class Edge(NamedTuple):
    """The clause begins or ends here."""

    end: bool


Row = tuple["Word | Either | Gap | Edge", ...]

_PART = re.compile(r"[()\[\]|?^$]|~\d?|[^\s()\[\]|?^$~]+|\s+")


class BadWording(ValueError):
    """A wording that cannot be read."""


class _Parser:
    """Reads one wording; brackets hold rows, a bar outside brackets joins single words."""

    def __init__(self, wording: str, habits: Habits, sets: Mapping[str, str]) -> None:
        self._habits = habits
        filled = re.sub(r"\{(\w+)\}", lambda m: f"({self._set(sets, m[1])})", wording)
        while "{" in filled:
            filled = re.sub(r"\{(\w+)\}", lambda m: f"({self._set(sets, m[1])})", filled)
        self._parts = [p for p in _PART.findall(filled)]
        self._at = 0

    def _set(self, sets: Mapping[str, str], name: str) -> str:
        if name not in sets:
            raise BadWording(f"there is no set {name!r}")
        return sets[name]

    def parse(self) -> Row:
        rows = self._rows("")
        if not all(rows):
            raise BadWording("it is empty")
        return rows[0] if len(rows) == 1 else (Either(rows),)

    def _peek(self) -> str:
        return self._parts[self._at] if self._at < len(self._parts) else ""

    def _rows(self, close: str) -> tuple[Row, ...]:
        rows = [self._row()]
        while self._peek() == "|":
            self._at += 1
            rows.append(self._row())
        if self._peek() != close:
            there = self._peek()
            raise BadWording(f"{there!r} closes nothing" if there else f"{close!r} is missing")
        self._at += 1
        return tuple(rows)

    def _row(self) -> Row:
        items: list[Word | Either | Gap | Edge] = []
        while (part := self._peek()) not in ("", ")", "]", "|"):
            self._at += 1
            if part == "?":
                items.append(Either((_row_of(items.pop()), ())))
            elif not part.isspace():
                self._at -= 1
                items += _row_of(self._item(), flat=True)
        return tuple(items)

    def _item(self) -> "Word | Either | Gap | Edge":
        part = self._peek()
        self._at += 1
        if part == "(":
            return Either(self._rows(")"))
        if part == "[":
            return Either((*self._rows("]"), ()))
        if part[0] == "~":
            return Gap(int(part[1:] or 2))
        if part in "^$":
            return Edge(part == "$")
        return self._word(part)

    def _word(self, part: str) -> "Word | Either | Gap | Edge":
        words = _words(part, self._habits)
        if not words:
            raise BadWording(f"{part!r} has no word in it")
        if part.endswith("-") and self._habits.endings:
            *front, stem = words
            return Either(tuple(_as_row([*front, stem + e]) for e in self._habits.endings))
        row = _as_row(words)
        return row[0] if len(row) == 1 else Either((row,))


def _as_row(words: Iterable[str]) -> Row:
    return tuple(map(Word, words))


def _row_of(item: "Word | Either | Gap | Edge", *, flat: bool = False) -> Row:
    """An item as a row; a single row in brackets is laid open."""
    if flat and isinstance(item, Either) and len(item.rows) == 1:
        return item.rows[0]
    return (item,)


_STARRED = re.compile(r"\*?[^\W_]+\*?|[%€$£✓✗&+/<>\"]|#")


def _words(text: str, habits: Habits) -> list[str]:
    """The words of a wording as tokens are compared: digits and letters apart, as in a text."""
    if text.isascii() and text.isalpha():
        return [text.lower()]
    words = []
    for star in _STARRED.findall(fold(text, habits)[0]):
        match = re.fullmatch(r"(\d+)([^\W\d_]+)", star)
        words += list(match.groups()) if match else [star]
    return words


# --- finding -----------------------------------------------------------------------------------


class _Wording:
    """One wording of a name.

    Plain rows of words are compared as they stand; others are compiled when a text first holds a
    word they begin with.
    """

    def __init__(self, name: str, row: Row, gap: str) -> None:
        self.name = name
        self._gap = gap
        self._row = row
        words = [item for item in row if isinstance(item, Word) and not _open(item)]
        self._plain = " ".join(w.one for w in words) + " " if len(words) == len(row) else None
        self._compiled: re.Pattern[str] | None = None
        self.seconds = _second_words(row)
        """The words that may stand second; None where that may be any word, or none at all."""

    def end(self, words: str, start: int) -> int | None:
        """Where a fit that begins at a place ends, in the words of a text joined by spaces."""
        if self._plain is not None:
            return start + len(self._plain) if words.startswith(self._plain, start) else None
        if self._compiled is None:
            self._compiled = re.compile(_pattern(self._row, self._gap))
        match = self._compiled.match(words, start)
        return match.end() if match and match.end() > start else None


def _open(word: Word) -> bool:
    return word.one == "#" or "*" in word.one


def _pattern(row: Row, gap: str) -> str:
    """A row as a regular expression over words that each end in a space, clauses in a line."""
    return "".join(_item_pattern(item, gap) for item in row)


def _item_pattern(item: "Word | Either | Gap | Edge", gap: str) -> str:
    if isinstance(item, Word):
        if item.one == "#":
            return r"\d\S* "
        return re.escape(item.one).replace(r"\*", r"\S*") + " "
    if isinstance(item, Gap):
        return rf"(?:{gap}){{0,{item.most}}}"
    if isinstance(item, Edge):
        return r"(?=\n)" if item.end else r"(?<! )"
    longest_first = sorted(item.rows, key=_size, reverse=True)
    return f"(?:{'|'.join(_pattern(row, gap) for row in longest_first)})"


def _gap(denials: Iterable[str]) -> str:
    """One word of any sort, but for a denial."""
    words = "|".join(sorted(map(re.escape, denials)))
    return rf"(?!(?:{words}) )\S+ " if words else r"\S+ "


def _size(row: Row) -> int:
    """The most words a row can take."""
    return sum(
        max(map(_size, item.rows)) if isinstance(item, Either) else 1
        for item in row
        if not isinstance(item, Edge)
    )


class Lexicon:
    """Every wording of a language by name, found in one pass over a text."""

    def __init__(
        self, named: Mapping[str, Iterable[str]], sets: Mapping[str, str], habits: Habits
    ) -> None:
        self.habits = habits
        self._starting: dict[str, list[_Wording]] = {}
        vocabulary: set[str] = set()
        bad: list[str] = []
        gap = _gap(habits.denials)
        for name, wording in ((n, w) for n, wordings in named.items() for w in wordings):
            try:
                row = _row_from(wording, habits, sets)
                firsts = _first_words(row)
            except BadWording as error:
                bad.append(f"{name}: {wording!r}: {error}")
                continue
            compiled = _Wording(name, row, gap)
            for word in firsts:
                self._starting.setdefault(word, []).append(compiled)
            vocabulary.update(_all_words(row))
        if bad:
            raise BadWording("; ".join(bad))
        self._exact = {w for w in vocabulary if "*" not in w}
        self._heads = {w[:-1] for w in vocabulary if w[-1] == "*" and w[0] != "*"}
        self._tails = {w[1:] for w in vocabulary if w[0] == "*" and w[-1] != "*"}
        self._cores = {w[1:-1] for w in vocabulary if len(w) > 2 and w[0] == w[-1] == "*"}
        self._slips = _slips(w for w in self._exact if w not in habits.true_words)

    def read(self, text: str) -> Text:
        """A text as tokens, slips mended."""
        read = Text(text, self.habits)
        read.tokens = [self._mended(token) for token in read.tokens]
        return read

    def _mended(self, token: Token) -> Token:
        word = token.word
        if (
            not SLIP_LETTERS - 1 <= len(word) <= _LONGEST
            or word in self.habits.true_words
            or self._forms(word)
        ):
            return token
        for shape in (word, *_shorter(word)):
            for meant in self._slips.get(shape, ()):
                long = max(len(word), len(meant)) >= SLIP_LETTERS
                if long and meant[0] == word[0] and one_slip(word, meant):
                    return token._replace(word=meant)
        return token

    def _forms(self, word: str) -> set[str]:
        """Every word of a wording that a token answers to."""
        if len(word) > _LONGEST:
            return set()
        forms = {word} if word in self._exact else set()
        size = len(word)
        forms |= {f"{word[:n]}*" for n in range(2, size + 1) if word[:n] in self._heads}
        forms |= {f"*{word[n:]}" for n in range(0, size - 1) if word[n:] in self._tails}
        forms |= {f"*{core}*" for core in self._cores if core in word}
        if word[0].isdigit():
            forms.add("#")
        return forms

    def find(self, text: Text) -> list[Hit]:
        """Every wording in the text; of one name the longest at each place."""
        words, starts, behind = _joined(text)
        beginning: dict[tuple[str, str], list[_Wording]] = {}
        found: dict[tuple[str, int], int] = {}
        for i, token in enumerate(text.tokens):
            pair = (token.word, text.tokens[i + 1].word if i + 1 < len(text.tokens) else "")
            if (candidates := beginning.get(pair)) is None:
                candidates = beginning[pair] = self._beginning(*pair)
            for wording in candidates:
                end = wording.end(words, starts[i])
                if end is not None:
                    key = (wording.name, i)
                    found[key] = max(behind[end] - 1, found.get(key, -1))
        return [Hit(name, first, last) for (name, first), last in found.items()]

    def _beginning(self, word: str, behind: str) -> list[_Wording]:
        """The wordings that may begin with a word and another behind it."""
        wordings = (w for form in self._forms(word) for w in self._starting.get(form, ()))
        forms = self._forms(behind) if behind else set()
        able = (w for w in wordings if w.seconds is None or not forms.isdisjoint(w.seconds))
        return list(dict.fromkeys(able))


def _joined(text: Text) -> tuple[str, list[int], dict[int, int]]:
    """The words joined, where each starts, and which token follows each place behind a word."""
    pieces, starts, behind, at = [], [], {}, 0
    for i, token in enumerate(text.tokens):
        if i and token.clause != text.tokens[i - 1].clause:
            pieces.append("\n")
            at += 1
        starts.append(at)
        pieces.append(f"{token.word} ")
        at += len(token.word) + 1
        behind[at] = i + 1
    return "".join((*pieces, "\n")), starts, behind


_SPECIAL = frozenset("()[]|?~{}^$-")


def _row_from(wording: str, habits: Habits, sets: Mapping[str, str]) -> Row:
    """A wording as a row; most are plain words and need no parser."""
    if _SPECIAL.isdisjoint(wording):
        if row := _as_row(_words(wording, habits)):
            return row
        raise BadWording("it has no word in it")
    return _Parser(wording, habits, sets).parse()


def _first_words(row: Row) -> frozenset[str]:
    """The words a row begins with; BadWording if it may begin with anything, or be nothing."""
    first, empty = _beginnings(row)
    if empty:
        raise BadWording("every word of it may be absent")
    return first


def _second_words(row: Row) -> frozenset[str] | None:
    """The words that may stand second in a row; None where that may be any word, or none."""
    first = row[0].rows if isinstance(row[0], Either) else ((row[0],),)
    if not all(len(one) == 1 and isinstance(one[0], Word) for one in first):
        return None
    try:
        second, empty = _beginnings(row[1:])
    except BadWording:
        return None
    return None if empty else second


def _beginnings(row: Row) -> tuple[frozenset[str], bool]:
    """The words a row may begin with, and whether it may be empty."""
    first: frozenset[str] = frozenset()
    for item in row:
        if isinstance(item, Word):
            return first | {item.one}, False
        if isinstance(item, Gap):
            raise BadWording("it begins with a gap")
        if isinstance(item, Either):
            choices = [_beginnings(choice) for choice in item.rows]
            first = first.union(*(words for words, _ in choices))
            if not any(empty for _, empty in choices):
                return first, False
    return first, True


def _all_words(row: Row) -> Iterator[str]:
    for item in row:
        if isinstance(item, Word):
            yield item.one
        elif isinstance(item, Either):
            for choice in item.rows:
                yield from _all_words(choice)


# --- slips -------------------------------------------------------------------------------------


def _shorter(word: str) -> Iterator[str]:
    """The word with each of its letters left out once."""
    return (word[:i] + word[i + 1 :] for i in range(len(word)))


def _slips(vocabulary: Iterable[str]) -> dict[str, tuple[str, ...]]:
    """Words by every shape that one slip away from them may share with a text."""
    slips: dict[str, tuple[str, ...]] = {}
    for word in vocabulary:
        if len(word) >= SLIP_LETTERS - 1 and word.isalpha():
            for shape in {word, *_shorter(word)}:
                slips[shape] = (*slips.get(shape, ()), word)
    return slips


def one_slip(a: str, b: str) -> bool:
    """Two words differ by one letter wrong, missing, extra, or swapped with its neighbour."""
    if abs(len(a) - len(b)) > 1 or a == b:
        return False
    start = next((i for i, (x, y) in enumerate(zip(a, b, strict=False)) if x != y), len(b))
    x, y = a[start:], b[start:]
    if len(x) == len(y):
        return x[1:] == y[1:] or (x[:2] == y[1::-1] and x[2:] == y[2:])
    return x[1:] == y if len(x) > len(y) else x == y[1:]
