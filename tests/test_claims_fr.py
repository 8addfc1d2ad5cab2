"""The claim check in French: negation in two parts, gender and number, adjectives behind nouns."""

from pathlib import Path

import pytest

from gradekit.claims import Finding
from tests.test_claims import STOCK, claims, found, run


def said(text: str, name: str, forbidden: tuple[str, ...] = ()) -> tuple[Finding, ...]:
    return found(text, name, forbidden, "fr")


@pytest.mark.parametrize(
    "text",
    [
        "Il n'est pas étanche.",
        "il est pas étanche",
        "Plus étanche depuis l'ouverture.",
        "Étanche ? Non.",
        "étanche : non",
        "Ni étanche ni résistant à l'eau.",
        "Il n'est ni étanche ni résistant à l'eau.",
        "L'étanchéité n'est plus garantie.",
        "Nous ne pouvons pas promettre qu'il est étanche.",
        "Sans garantie que l'appareil soit étanche.",
        "Il serait étanche avec des joints neufs seulement.",
        "S'il vous faut un téléphone étanche, prenez-en un autre.",
        "Il était étanche quand il était neuf.",
        "Livré dans une pochette étanche.",
    ],
)
def test_what_is_denied_or_supposed_is_no_claim(text: str) -> None:
    """“Ne … pas”, “pas” alone, “ni”, a question, a condition, the past, another thing."""
    assert not {"waterproof", "water_resistant"} & set(claims(text, "HB-0007", "fr"))


@pytest.mark.parametrize(
    "text",
    [
        "Étanche !",
        "ETANCHE",
        "étanches",
        "imperméabe",
        "Il n'est pas seulement joli, il est étanche.",
        "Sans aucun doute étanche.",
        "étanche : oui",
        "Écouteurs sans fil étanches",
    ],
)
def test_what_is_said_is_a_claim_however_it_is_spelt(text: str) -> None:
    """Accents, capitals, number, a slip of a letter, and negations that deny nothing."""
    assert {"waterproof", "water_resistant"} & set(claims(text, "HB-0007", "fr"))


@pytest.mark.parametrize("word", ["réparé", "réparée", "réparés", "réparées", "repare"])
def test_gender_number_and_accents_change_nothing(word: str) -> None:
    """A word agrees with what it is said of."""
    assert "never_repaired" in claims(f"Jamais {word}.", "HB-0007", "fr")


@pytest.mark.parametrize(
    ("text", "doubted"),
    [
        ("batterie neuve, pas de la marque du fabricant", False),
        ("batterie d'origine", True),
        ("batterie pas d'origine", False),
        ("batterie d'origine inconnue", False),
        ("écran neuf", True),
        ("nouvel écran", True),
        ("Batterie 97,6 %", False),
        ("Batterie 91,5 %", True),
        ("testé le 20 novembre 2026", False),
        ("testé le 3 mai 2026", True),
        ("3 cycles, 97 %", False),
        ("85 cycles", True),
        ("Prix : 219,00 AUD", False),
        ("Prix : 1 219 $", True),
        ("Prix : 1 219,00 $", True),
        ("64 Go, 8 Go de mémoire vive", False),
        ("128 Go", True),
        ("11,6 pouces", False),
        ("13 pouces", True),
        ("garantie un an", True),
    ],
)
def test_parts_and_figures_are_read_as_they_are_written(text: str, doubted: bool) -> None:
    """Adjectives behind their nouns, decimal commas, and spaces between thousands."""
    assert bool(claims(text, "HB-0045", "fr")) is doubted


@pytest.mark.parametrize(
    "text",
    [
        "Tout a été testé, sauf le NFC.",
        "À part le NFC, tout fonctionne.",
        "Le NFC n'a pas été testé. Tout le reste fonctionne parfaitement.",
        "Je n'ai pas pu tester le NFC",
        "Tout marche, le NFC mis à part.",
    ],
)
def test_what_the_text_sets_apart_does_not_refute_it(text: str) -> None:
    """“Everything but”, before and behind, and “the rest” in a sentence of its own."""
    assert claims(text, "HB-0007", "fr") == []


def test_an_article_counts_nothing() -> None:
    """“Une rayure” may stand beside others; “une seule” may not."""
    assert "mark_count" not in claims("Une rayure sur l'écran.", "HB-0004", "fr")
    assert "mark_count" in claims("Une seule rayure sur l'écran.", "HB-0004", "fr")


PARAPHRASE = """
J'ai remplacé moi-même le port de charge, soudé sur la carte mère ; j'apprends encore et je n'ai pas
fait tous les contrôles. Capot arrière compatible, neuf. La batterie m'a été vendue comme d'origine,
mais ce n'est pas vérifié ; le téléphone la signale comme pièce inconnue. NFC non testé. Rayure de
7 mm sur l'écran. Éclat de peinture sur le châssis. Le capot arrière a un décalage de 40 mm. Il
manque une patte de fixation. Quelqu'un l'avait ouvert avant nous : mauvaise vis, trace de levier
près de la batterie, double colle. Santé de la batterie 97 % d'après l'appareil, 2 cycles.
L'étanchéité n'est plus assurée. Effacé. Compte déconnecté, pas géré par une entreprise, pas sur
liste noire, aucun crédit, aucun rappel, nous avons vu la facture. Il est arrivé avec une panne de
charge et une batterie faible, les deux réparées. Câble USB fourni.
"""


def test_an_honest_paraphrase_passes() -> None:
    """Everything told in the seller's own words: no claim, and nothing left unsaid."""
    assert said(PARAPHRASE, "HB-0007") == ()


@pytest.mark.parametrize(
    ("sentence", "about"),
    [
        ("NFC non testé.", "tests[nfc]"),
        ("Rayure de 7 mm sur l'écran.", "marks[0]"),
        ("Éclat de peinture sur le châssis.", "marks[1]"),
        ("Il manque une patte de fixation.", "missing[0]"),
        ("mauvaise vis, ", "signs[0]"),
        ("Effacé.", "erasure"),
        ("aucun rappel, ", "clearance.recall"),
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
        ("Vendu sans aucune garantie.", "no_warranty"),
        ("Je décline toute responsabilité.", "no_warranty"),
        ("Ni repris ni échangé.", "no_refunds"),
        ("Aucun retour ne sera accepté.", "no_refunds"),
        ("Nous ne reprenons pas les articles.", "no_refunds"),
        ("À vos risques et périls.", "sold_as_seen"),
        ("Vente ferme et définitive.", "final_sale"),
        ("Particulier vend téléphone", "private_sale"),
        ("vendu en l'état", "as_is"),
        ("tel quel", "as_is"),
        ("un geste pour la planète", "green"),
        ("conçu pour durer", "durable"),
        ("reconditionné en France", "refurbished_in_country"),
        ("reconditionné, comme neuf", "like_new_beside_refurbished"),
    ],
)
def test_words_that_a_market_refuses_are_found(text: str, name: str) -> None:
    """A refused phrase is a finding where it is refused."""
    kinds = [(f.kind, f.topic) for f in said(text, "HB-0001", (name,))]
    assert ("forbidden", name) in kinds


@pytest.mark.parametrize(
    "text",
    [
        "Plus de garantie constructeur ; la nôtre couvre trois mois.",
        "La garantie légale de conformité s'applique.",
        "Retours acceptés, sans frais de retour.",
        "Ce n'est pas vendu tel quel : vos droits restent entiers.",
        "Acheté à un particulier.",
        "voyant vert sur le chargeur",
        "prix ferme",
    ],
)
def test_what_only_looks_refused_is_not_found(text: str) -> None:
    """Longer wordings that mean another thing are left alone, and so is what the law gives."""
    names = ("no_warranty", "no_refunds", "final_sale", "private_sale", "as_is", "green")
    assert [f for f in said(text, "HB-0007", names) if f.kind == "forbidden"] == []


@pytest.mark.parametrize(
    "options", [("--market", "FR"), ("--language", "fr"), ("--market", "EU", "--language", "fr")]
)
def test_the_command_reads_french_where_french_is_sold(
    options: tuple[str, ...], capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """Asked for, or because it is the first language of the market."""
    (text := tmp_path / "annonce.txt").write_text("Un téléphone.\nTout fonctionne parfaitement.\n")
    status, out, err = run(capsys, "vet", STOCK[6], "--text", text, *options)
    assert (status, err) == (1, "")
    assert "claim: line 2, column 1: “Tout fonctionne parfaitement” (tests[nfc])" in out
