"""ERRORS: each says where, what and how to mend it, and everything public is under one name."""

import pytest

import gradekit
from gradekit.errors import (
    GradekitError,
    Problem,
    RecordError,
    RuleError,
    ShopError,
    UnknownName,
)

HERE = Problem(
    where="marks[0].zone", problem="'len' is not known here", remedy="did you mean lens?"
)
THERE = Problem(where="tests[1]", problem="is null", remedy="leave the key out if not known")


def test_a_problem_reads_as_one_line() -> None:
    """A problem says where, what is wrong and what to do, in this order."""
    assert str(HERE) == "marks[0].zone: 'len' is not known here; did you mean lens?"


def test_an_error_tells_all_its_problems() -> None:
    """An error reads as one line for each problem, and keeps them apart for whoever shows them."""
    error = GradekitError([HERE, THERE])
    assert error.problems == (HERE, THERE)
    assert str(error).splitlines() == [str(HERE), str(THERE)]


@pytest.mark.parametrize("error", [RecordError, RuleError, ShopError, UnknownName])
def test_every_error_is_one_of_ours(error: type[GradekitError]) -> None:
    """Whoever catches the one public error catches them all."""
    with pytest.raises(gradekit.GradekitError) as caught:
        raise error([HERE])
    assert caught.value.problems == (HERE,)


def test_only_a_record_can_be_unreadable() -> None:
    """A record that could not be read at all is told from one that could be read and is wrong."""
    assert not RecordError([HERE]).unreadable
    assert RecordError([HERE], unreadable=True).unreadable


def test_no_error_knows_how_it_is_carried() -> None:
    """Status codes are the command line's and the service's own affair."""
    for error in (GradekitError, RecordError, RuleError, ShopError, UnknownName):
        names = {name for name in dir(error) if not name.startswith("_")} - set(dir(Exception))
        assert not names, error


def test_the_public_names_are_these() -> None:
    """What ``gradekit`` offers is a short list, and taking a name away breaks somebody's code."""
    assert gradekit.__all__ == [
        "Assessment",
        "Finding",
        "GradekitError",
        "Grader",
        "Inspection",
        "Listing",
        "ListingRefused",
        "Phrases",
        "Problem",
        "RecordError",
        "Rule",
        "Rulebook",
        "Sale",
        "Sentence",
        "Shop",
        "UnknownName",
        "advise",
        "assess",
        "complete",
        "demo_folder",
        "doubled_keys",
        "kind_words",
        "load_market",
        "load_rulebook",
        "load_shop",
        "misfits",
        "model_problems",
        "notes",
        "read_inspection",
        "sale_of",
        "sentences",
        "shop_problems",
        "vet",
        "write_listing",
    ]
    assert all(hasattr(gradekit, name) for name in gradekit.__all__)
