"""PAGES: a template of the rulebook filled in.

It stands before the listing and the papers. It fails closed: a page that would leave out a text it
has to show is an error.
"""

from collections.abc import Iterable
from typing import Any

from gradekit.disclosures import Phrases
from gradekit.errors import ListingRefused, Problem, RuleError
from gradekit.rulebook import Rulebook


def fill_in(
    name: str,
    values: dict[str, Any],
    said: Iterable[str | None],
    phrases: Phrases,
    rulebook: Rulebook,
) -> str:
    """A template filled in; RuleError if it cannot be, ListingRefused if it drops a text.

    ``said``: every text that the page has to show; None is no text.
    """
    from jinja2 import TemplateError
    from markupsafe import escape

    where = f"templates/{name}"
    try:
        template = (rulebook.folders[0] / "templates" / name).read_text("utf-8")
        page = phrases.page(template, {**values, "words": phrases.words})
    except (OSError, TemplateError, ValueError, TypeError) as error:
        problem = f"cannot be filled in ({error})"
        raise RuleError([Problem(where, problem, "mend the template or its words")]) from None
    if lost := [text for text in said if text and str(escape(text)) not in page]:
        raise ListingRefused([left_out(name, text) for text in lost])
    return page


def left_out(name: str, text: str) -> Problem:
    """A text that a template has to show and does not."""
    return Problem(f"templates/{name}", f"leaves out: {text}", "let the template show it")
