"""SHOP: who sells, on which terms, with which instruments and which models in stock.

It stands beside the assessment: it fills in what the shop knows once for all, so that nobody
types a model's size or a meter's uncertainty twice. What a record says itself always wins.
"""

from collections.abc import Iterable, Iterator
from difflib import get_close_matches
from pathlib import Path
from typing import Annotated, Any

import msgspec
import tomli
from msgspec import UNSET, Meta
from msgspec.structs import replace

from gradekit.errors import Problem, ShopError
from gradekit.inspection import MEASURED, Currency, Device, Inspection
from gradekit.rulebook import Rulebook


class _Profile(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Read strictly: a misspelt term would silently not be offered."""


class Trader(_Profile, frozen=True, kw_only=True):
    """Who stands for the goods."""

    name: str
    address: str
    email: str | None = None
    telephone: str | None = None


class Terms(_Profile, frozen=True, kw_only=True):
    """What the shop offers beyond the law, in its own words."""

    returns_days: Annotated[int, Meta(ge=0)] | None = None
    delivery: str | None = None
    guarantee: str | None = None
    liability_months: Annotated[int, Meta(gt=0)] | None = None
    """A shorter legal liability for used goods, where buyer and seller may agree on one."""


class Shop(_Profile, frozen=True, kw_only=True):
    """A shop's profile, as in ``shop.toml``."""

    trader: Trader
    market: Annotated[str, Meta(pattern=r"^[A-Z]{2}(-[A-Z0-9]{1,3})?$")]
    language: Annotated[str, Meta(pattern=r"^[a-z]{2}$")]
    currency: Currency
    terms: Terms = Terms()
    uncertainty: dict[str, Annotated[float, Meta(ge=0, le=1e6)]] = {}
    """The instruments' uncertainty by field name, in that field's unit."""
    address_key: Annotated[str, Meta(min_length=16)] | None = None
    """A secret of the shop's own, as random as a password: it keys the addresses of listings, so
    that nobody can guess a unit's tag from them. A new one gives every listing a new address."""
    rules: str | None = None
    """The shop's own rule folder, beside the profile."""
    models: dict[str, dict[str, dict[str, Any]]] = {}
    """Maker, then model, then device fields."""

    def __repr__(self) -> str:
        """The name alone: the key is nobody's business, not even of a log."""
        return f"Shop({self.trader.name!r})"


def load_shop(path: Path) -> Shop:
    """Read a shop's profile; ShopError lists what is wrong with it."""
    try:
        shop = msgspec.convert(tomli.loads(path.read_text("utf-8")), Shop)
    except OSError as error:
        raise _refused(path, f"cannot be read ({error.strerror})", "name a file") from None
    except (tomli.TOMLDecodeError, UnicodeDecodeError, msgspec.ValidationError) as error:
        raise _refused(path, str(error), "mend the profile") from None
    problems = [replace(p, where=f"{path.name}: {p.where}") for p in shop_problems(shop)]
    if problems:
        raise ShopError(problems)
    return shop


def _refused(path: Path, problem: str, remedy: str) -> ShopError:
    return ShopError([Problem(where=path.name, problem=problem, remedy=remedy)])


def shop_problems(shop: Shop) -> list[Problem]:
    """What is wrong with a profile of the right shape: device fields of models, and readings."""
    problems = [
        _model_problem(f"models.{maker}.{model}", known)
        for maker, models in shop.models.items()
        for model, known in models.items()
    ]
    unread = [name for name in shop.uncertainty if name not in MEASURED]
    remedy = f"use one of {', '.join(MEASURED)}"
    return [
        *(problem for problem in problems if problem is not None),
        *(Problem(f"uncertainty.{name}", "no reading has this field", remedy) for name in unread),
    ]


def _model_problem(where: str, known: dict[str, Any]) -> Problem | None:
    try:
        msgspec.convert({"kind": "any", **known}, Device)
    except msgspec.ValidationError as error:
        return Problem(where=where, problem=str(error), remedy="use the fields of device")
    return None


def model_problems(shop: Shop, rulebook: Rulebook) -> list[Problem]:
    """Models of a kind that is not there, or with a feature that their kind lacks.

    A record's own words are checked when it is read, those of a profile only here: it is read
    before the rulebook, whose folder it names.
    """
    return [
        problem
        for maker, models in shop.models.items()
        for model, known in models.items()
        for problem in _unknown_words(f"shop.models.{maker}.{model}", known, rulebook)
    ]


def _unknown_words(where: str, known: dict[str, Any], rulebook: Rulebook) -> Iterator[Problem]:
    kinds = rulebook.kind_files
    named = [known["kind"]] if "kind" in known else list(kinds)
    if named[0] not in kinds:
        yield Problem(f"{where}.kind", f"there is no kind {named[0]!r}", _near(named[0], kinds))
        return
    features = {feature for kind in named for feature in rulebook.kind(kind).features}
    for feature in known.get("has", ()):
        if feature not in features:
            problem = f"{feature!r} is no feature of {' or '.join(named)}"
            yield Problem(f"{where}.has", problem, _near(feature, features))


def _near(word: str, known: Iterable[str]) -> str:
    near = get_close_matches(word, list(known), n=1)
    return f"did you mean {near[0]}?" if near else f"use one of {', '.join(sorted(known))}"


def complete(inspection: Inspection, shop: Shop) -> Inspection:
    """The record with what the shop knows of the model and of its instruments filled in."""
    device = inspection.device
    known = shop.models.get(device.maker or "", {}).get(device.model or "", {})
    if known:
        device = _filled(device, msgspec.convert({"kind": device.kind, **known}, Device))
    uncertainty = {**shop.uncertainty, **(inspection.uncertainty or {})}
    return replace(inspection, device=device, uncertainty=uncertainty or UNSET)


def _filled(device: Device, known: Device) -> Device:
    silent = [name for name in device.__struct_fields__ if getattr(device, name) is UNSET]
    return replace(device, **{name: getattr(known, name) for name in silent})
