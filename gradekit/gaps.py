"""GAPS: what claims files lack of that which claims, rules and markets ask of them.

It serves the claim check, which would otherwise pass over what it has no words for: each gap has
its file, its key and a remedy, and all are named at once. It judges no wording.
"""

from collections.abc import Collection, Iterable, Iterator

from gradekit.claim_files import Claim, ClaimFiles, Look, Said, Words
from gradekit.conditions import fields
from gradekit.errors import Problem, RuleError
from gradekit.markets import load_market, markets
from gradekit.rulebook import Rulebook
from gradekit.subjects import SUBJECTS

OF_KIND = {
    "zone": "zones",
    "mark": "mark_kinds",
    "function": "functions",
    "part": "parts",
    "work": "works",
    "sign": "signs",
    "item": "accessories",
    "clearance": "clearances",
}
"""Tables of which only the kind's own words count, and where the kind keeps them."""

TABLES: dict[str, tuple[str, ...]] = {
    "tone": (
        *("not_before", "not_near", "not_next", "not_after", "not_really", "nor", "anew"),
        *("supposed", "condition", "hedge", "past", "except"),
    ),
    "status": ("ok", "fault", "partial", "untested", "none"),
    "notion": (
        "at",
        "device",
        "further",
        "health",
        "listed",
        "new",
        "original",
        "present",
        "rest",
        "severe",
        "unused",
        "visible",
    ),
    "included": ("yes", "other"),
    "renewed": ("yes",),
    "standing": ("claimed_original",),
    "lack": ("no",),
    "thing": ("thing",),
    "free": (),
}
"""Words of the tables that the check itself asks for, whatever the data says."""

SAYS = frozenset(
    (
        *("against", "open", "unsaid", "forbidden", "differs", "no_figure", "old"),
        *("correct", "leave_out", "reread"),
    )
)
"""Sentences of the check itself."""

_LISTS = ("contrast", "every", "joints", "fillers", "yes", "no", "at_least", "at_most", "about")
_MONTHS = 12
_UNITLESS = ("year", "date")
"""Units that are read without a word of their own."""


def gaps(files: ClaimFiles, rulebook: Rulebook, language: str) -> Iterator[Problem]:
    """Everything that a language's claims files lack, and every name in them that is unknown."""
    for key, problem, remedy in dict.fromkeys(_of_claims(files)):
        yield Problem(f"claims/claims.toml: {key}", problem, remedy)
    for key, problem, remedy in dict.fromkeys(_of_words(files, rulebook)):
        yield Problem(f"claims/{language}.toml: {key}", problem, remedy)


def unworded(files: ClaimFiles, rulebook: Rulebook, language: str) -> Iterator[Problem]:
    """Words that a market refuses or a rule voids, and that cannot be found in this language."""
    refused = {name: f"rule {rule.id} voids it" for rule in rulebook.rules for name in rule.voids}
    for code in markets(rulebook):
        names = ("as_is", *load_market(rulebook, code).refused)
        refused |= {name: f"market {code} refuses it" for name in names}
    known = files.words.forbidden.keys() | files.neutral.claim.keys()
    for name in sorted(refused.keys() - known):
        where = f"claims/{language}.toml: forbidden.{name}"
        yield Problem(where, f"is missing, and {refused[name]}", "add its wordings")


_Gap = tuple[str, str, str]
"""A key, what is wrong with it, and the remedy."""

_WRITE = "write it"


def _of_claims(files: ClaimFiles) -> Iterator[_Gap]:
    """Names that the language-neutral file gets wrong by itself."""
    claims, figures = files.neutral.claim, files.neutral.figure
    for name, claim in claims.items():
        for look in (*claim.refuted_by, *claim.needs):
            yield from _unread(name, look)
        for hidden in sorted(set(claim.hides) - claims.keys()):
            yield f"claim.{name}.hides", f"there is no claim {hidden!r}", "mend the name"
        for subject in sorted(set(claim.instead_of) - SUBJECTS.keys()):
            yield f"claim.{name}.instead_of", f"no record has {subject!r}", "mend the name"
    for name, said in files.neutral.said.items():
        for figure in _wanted(said, "figure"):
            if figure not in figures:
                yield f"said.{name}.needs", f"there is no figure {figure!r}", "mend the name"


def _unread(name: str, look: Look) -> Iterator[_Gap]:
    try:
        _ = look.rule.condition
    except (RuleError, KeyError) as error:
        yield f"claim.{name}", str(error), "mend the look"


# --- what a language lacks ---------------------------------------------------------------------


def _of_words(files: ClaimFiles, rulebook: Rulebook) -> Iterator[_Gap]:
    yield from _reading(files)
    yield from _wordings(files)
    yield from _units(files)
    yield from _tables(files, rulebook)


def _reading(files: ClaimFiles) -> Iterator[_Gap]:
    """How the language is written, and what the check says in it."""
    reading = files.words.reading
    for use in sorted(SAYS - {use for use, text in reading.say.items() if text}):
        yield f"reading.say.{use}", "is missing", _WRITE
    for use in sorted(reading.say.keys() - SAYS):
        yield f"reading.say.{use}", "is said nowhere", "take it out"
    for name in _LISTS:
        if not getattr(reading, name):
            yield f"reading.{name}", "is missing", "list the words"
    if len(reading.months) != _MONTHS:
        yield "reading.months", f"has {len(reading.months)} months", "name all twelve, in order"


def _wordings(files: ClaimFiles) -> Iterator[_Gap]:
    """Claims, figures and forbidden phrases: each is worded, explained and mended."""
    neutral, words = files
    for name in sorted(neutral.claim.keys() | words.claim.keys()):
        coded = neutral.claim.get(name) == Claim()
        yield from _wording("claim", name, neutral.claim, words.claim, worded=not coded)
    for name in sorted(neutral.figure.keys() | words.figure.keys()):
        if name not in neutral.figure or not (said := words.figure.get(name)) or not said.why:
            yield from _wording("figure", name, neutral.figure, words.figure, worded=False)
    for name, said in words.forbidden.items():
        yield from _phrase(f"forbidden.{name}", said, worded=not said.beside)
        for claim in sorted(set(said.beside) - neutral.claim.keys()):
            yield f"forbidden.{name}.beside", f"there is no claim {claim!r}", "mend the name"


def _wording(table: str, name: str, known: Collection[str], said: dict[str, Words], *,
             worded: bool) -> Iterator[_Gap]:  # fmt: skip
    if name not in known:
        yield f"{table}.{name}", "is not in claims.toml", "mend the name, or add it there"
    elif name not in said:
        yield f"{table}.{name}", "is missing", "word it, with why" + " and instead" * worded
    elif table == "claim":
        yield from _phrase(f"{table}.{name}", said[name], worded=worded)
    else:
        yield f"{table}.{name}.why", "is missing", _WRITE


def _phrase(key: str, said: Words, *, worded: bool) -> Iterator[_Gap]:
    if worded and not (said.says or said.alone):
        yield f"{key}.says", "is missing", "list how sellers say it"
    for name in ("why", "instead"):
        if not getattr(said, name):
            yield f"{key}.{name}", "is missing", _WRITE


def _units(files: ClaimFiles) -> Iterator[_Gap]:
    """Every unit that a figure is counted in can be read and written."""
    words = files.words
    units = {figure.unit for figure in files.neutral.figure.values()}
    for unit in sorted(units - words.units.keys() - set(_UNITLESS)):
        yield f"units.{unit}", "is missing", "list its words, each with what one of it is"
    for name in sorted({"days", *units} - words.shown.keys()):
        yield f"shown.{name}", "is missing", "write how it is written, with {} for the number"
    for name, text in words.shown.items():
        if "{}" not in text:
            yield f"shown.{name}", "has no place for the number", "put {} where it stands"


def _tables(files: ClaimFiles, rulebook: Rulebook) -> Iterator[_Gap]:
    """Every word of a table that the check or its data asks for."""
    tables = files.words.tables
    asked = _asked(files, rulebook)
    for table, word in sorted(asked):
        if not tables.get(table, {}).get(word):
            yield f"tables.{table}.{word}", "is missing", "list how sellers say it"
    needs = (need for said in files.neutral.said.values() for need in said.needs)
    named = {choice.partition(":")[0] for need in needs for choice in need.split("|")}
    known = named | TABLES.keys() | OF_KIND.keys()
    for table in sorted(tables.keys() - known):
        yield f"tables.{table}", "nothing asks for this table", "mend its name, or take it out"
    for word in sorted(tables.get("free", {}).keys() - tables.get("mark", {}).keys()):
        yield f"tables.free.{word}", f"there is no mark {word!r}", "mend the name"


def _asked(files: ClaimFiles, rulebook: Rulebook) -> set[tuple[str, str]]:
    """Tables and words that are asked for, whatever the kind."""
    asked = {(table, word) for table, words in TABLES.items() for word in words}
    for figure in files.neutral.figure.values():
        asked |= {("notion", word) for word in (*figure.near, *figure.not_near)}
    for key, said in files.neutral.said.items():
        asked |= {pair for need in said.needs for pair in _pairs(need, key, rulebook)}
    return asked


def _pairs(need: str, key: str, rulebook: Rulebook) -> Iterator[tuple[str, str]]:
    """The tables and words of one need; a field stands for each of its words."""
    for choice in need.rstrip("?").split("|"):
        table, _, word = choice.partition(":")
        if table == "figure":
            continue
        if not word.startswith("{"):
            yield table, word
        elif table not in OF_KIND and not need.endswith("?"):
            yield from ((table, value) for value in _words_of(word[1:-1], key, rulebook))


def _words_of(field: str, key: str, rulebook: Rulebook) -> set[str]:
    """The words that a field may hold in the disclosures that a key of ``said`` stands for."""
    subjects = {
        rule.subject
        for rule in rulebook.rules
        if rule.disclose and key in (rule.disclose, rule.topic, rule.subject)
    }
    known = (fields(subject).get(field) for subject in subjects)
    return {str(word) for one in known if one for word in one.words}


def _wanted(said: Said, table: str) -> Iterable[str]:
    choices = (choice for need in said.needs for choice in need.rstrip("?").split("|"))
    return (word for t, _, word in (c.partition(":") for c in choices) if t == table)
