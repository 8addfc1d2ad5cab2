"""The claim check in German: word order, compounds, and commas that end no negation."""

from pathlib import Path

import pytest

from gradekit.claims import Finding
from tests.test_claims import STOCK, claims, found, run


def said(text: str, name: str, forbidden: tuple[str, ...] = ()) -> tuple[Finding, ...]:
    return found(text, name, forbidden, "de")


@pytest.mark.parametrize(
    "text",
    [
        "Es ist nicht wasserdicht.",
        "Wasserdicht? Nein.",
        "wasserdicht: nein",
        "Wasserdicht ist es leider nicht mehr.",
        "Wir können nicht versprechen, dass es wasserdicht ist.",
        "Dass es wasserdicht ist, können wir nicht sagen.",
        "Ob es wasserdicht ist, wissen wir nicht.",
        "Eine Garantie, dass es wasserdicht ist, geben wir nicht.",
        "Weder wasserdicht noch spritzwassergeschützt.",
        "Wasserdicht wäre es nur mit neuen Dichtungen.",
        "Wenn Sie ein wasserdichtes Handy brauchen, nehmen Sie ein anderes.",
        "Das Handy war mal wasserdicht.",
        "Dazu passt eine wasserdichte Hülle.",
    ],
)
def test_what_is_denied_or_supposed_is_no_claim(text: str) -> None:
    """A negation counts before, behind and across the comma of a dependent clause."""
    assert not {"waterproof", "water_resistant"} & set(claims(text, "HB-0007", "de"))


@pytest.mark.parametrize(
    "text",
    [
        "Wasserdicht!",
        "waserdicht",
        "Nach wie vor wasserdicht",
        "Das Handy ist nicht nur günstig, es ist auch wasserdicht.",
        "Kein Zweifel, es ist wasserdicht.",
        "Es ist wasserdicht und wurde nie geöffnet.",
    ],
)
def test_what_only_looks_denied_is_a_claim(text: str) -> None:
    """A slip of one letter, “not only”, and a negation of something else change nothing."""
    assert {"waterproof", "water_resistant"} & set(claims(text, "HB-0007", "de"))


@pytest.mark.parametrize(
    "text", ["voll funktionsfähig", "voll funktionsfaehig", "VOLL FUNKTIONSFÄHIG"]
)
def test_umlauts_may_be_written_in_two_letters(text: str) -> None:
    """Sellers without the key write ae for ä, and capitals change nothing."""
    assert "fully_working" in claims(text, "HB-0004", "de")


def test_an_umlaut_makes_another_word() -> None:
    """“Would be opened” is supposed, “was opened” is told."""
    assert "part_replaced" in claims("Das Display wurde getauscht.", "HB-0007", "de")
    assert "part_replaced" not in claims("Das Display würde getauscht.", "HB-0007", "de")


@pytest.mark.parametrize(
    ("text", "doubted"),
    [
        ("neuer Akku, nicht vom Hersteller", False),
        ("neuer Originalakku", True),
        ("kein Originalakku", False),
        ("Akku 97,6 %", False),
        ("Akku 91,5 %", True),
        ("Akku am 20. November 2026 getestet", False),
        ("Akku am 3. Mai 2026 getestet", True),
        ("Ladezyklen: 3", False),
        ("Ladezyklen: 85", True),
        ("Preis: 219,00 AUD", False),
        ("Preis: 1.219,00 AUD", True),
        ("11,6 Zoll", False),
        ("13 Zoll", True),
    ],
)
def test_parts_and_figures_are_read_as_they_are_written(text: str, doubted: bool) -> None:
    """Compounds, decimal commas, ordinals with a full stop, and a unit before its number."""
    assert bool(claims(text, "HB-0045", "de")) is doubted


@pytest.mark.parametrize(
    "text",
    [
        "Alles getestet, nur NFC nicht.",
        "NFC konnten wir nicht prüfen. Ansonsten funktioniert alles einwandfrei.",
        "Bis auf NFC funktioniert alles, wie es soll.",
        "NFC lässt sich nicht testen",
        "Ob NFC geht, weiß ich nicht.",
    ],
)
def test_what_the_text_sets_apart_does_not_refute_it(text: str) -> None:
    """“Everything but”, and “otherwise” in a sentence of its own."""
    assert claims(text, "HB-0007", "de") == []


PARAPHRASE = """
Die Ladebuchse habe ich selbst auf der Hauptplatine neu eingelötet, ich lerne das noch und habe
nicht alle vorgesehenen Prüfungen gemacht. Die Buchse ist ein Nachbauteil. Den Akku haben wir
ebenfalls ersetzt. Rückdeckel: neu, Nachbau. Der Akku wurde uns als Original verkauft, nachgeprüft
ist das nicht; das Handy meldet ein unbekanntes Teil. NFC wurde nicht getestet. Kratzer auf dem
Display, 7 mm. Am Rahmen ist Lack abgeplatzt. Die Rückseite steht auf 40 mm etwas über. Innen
fehlt ein Halteblech. Jemand hat es vorher geöffnet: falsche Schraube, Hebelspur am Akku, alter
und neuer Kleber am Rückdeckel. Akkugesundheit 97 %, 2 Zyklen. Der Schutz vor Wasser ist nicht
mehr gesichert. Zurückgesetzt und gelöscht. Keine Kontosperre, nicht von einer Firma verwaltet,
auf keiner Sperrliste, keine offene Finanzierung, kein Rückruf, den Kaufbeleg haben wir gesehen.
Kam ohne Ladefunktion und mit kurzer Akkulaufzeit zu uns, beides behoben. USB-Kabel liegt bei.
"""


def test_an_honest_paraphrase_passes() -> None:
    """Everything told in the seller's own words: no claim, and nothing left unsaid."""
    assert said(PARAPHRASE, "HB-0007") == ()


@pytest.mark.parametrize(
    ("sentence", "about"),
    [
        ("NFC wurde nicht getestet.", "tests[nfc]"),
        ("Kratzer auf dem Display, 7 mm.", "marks[0]"),
        ("Innen fehlt ein Halteblech.", "missing[0]"),
        ("falsche Schraube, ", "signs[0]"),
        ("Zurückgesetzt und gelöscht.", "erasure"),
    ],
)
def test_what_is_taken_out_is_missed(sentence: str, about: str) -> None:
    """Taking one sentence out of a whole telling leaves its path unsaid."""
    text = " ".join(PARAPHRASE.split())
    assert sentence in text
    told = said(text.replace(sentence, ""), "HB-0007")
    assert about in {f.about for f in told if f.kind == "omission"}


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("Der Verkauf erfolgt unter Ausschluss jeglicher Gewährleistung.", "no_warranty"),
        ("Keine Garantie, keine Gewährleistung.", "no_warranty"),
        ("Ich schließe jegliche Sachmängelhaftung aus.", "no_warranty"),
        ("Umtausch ausgeschlossen", "no_refunds"),
        ("Wir nehmen nichts zurück.", "no_refunds"),
        ("gekauft wie gesehen", "sold_as_seen"),
        ("Der Verkauf ist endgültig.", "final_sale"),
        ("Privatverkauf, daher keine Rücknahme", "private_sale"),
        ("verkauft im Ist-Zustand", "as_is"),
        ("schont die Umwelt", "green"),
        ("unkaputtbar", "durable"),
        ("in Deutschland generalüberholt", "refurbished_in_country"),
    ],
)
def test_words_that_a_market_refuses_are_found(text: str, name: str) -> None:
    """A refused phrase is a finding where it is refused."""
    kinds = [(f.kind, f.topic) for f in said(text, "HB-0001", (name,))]
    assert ("forbidden", name) in kinds


@pytest.mark.parametrize(
    "text",
    [
        "Keine Herstellergarantie mehr, unsere gilt drei Monate.",
        "Die gesetzliche Gewährleistung beträgt 24 Monate.",
        "Rückgabe innerhalb von 60 Tagen ohne Angabe von Gründen",
        "Nicht gekauft wie gesehen: Ihre Rechte bleiben unberührt.",
        "Wir haben es von einer Privatperson gekauft.",
        "grünes Ladelicht",
    ],
)
def test_what_only_looks_refused_is_not_found(text: str) -> None:
    """Longer wordings that mean another thing are left alone, and so is what the law gives."""
    names = ("no_warranty", "no_refunds", "sold_as_seen", "private_sale", "green")
    assert [f for f in said(text, "HB-0007", names) if f.kind != "omission"] == []


@pytest.mark.parametrize(
    "options", [("--market", "DE"), ("--language", "de"), ("--market", "EU", "--language", "de")]
)
def test_the_command_reads_german_where_german_is_sold(
    options: tuple[str, ...], capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """Asked for, or because it is the first language of the market."""
    (text := tmp_path / "angebot.txt").write_text("Ein Handy.\nAlles funktioniert einwandfrei.\n")
    status, out, err = run(capsys, "vet", STOCK[6], "--text", text, *options)
    assert (status, err) == (1, "")
    assert "claim: line 2, column 1: “Alles funktioniert einwandfrei” (tests[nfc])" in out
