"""SHOP: who sells, on which terms, with which instruments and which models in stock.

It stands beside the assessment: it fills in what the shop knows once for all, so that nobody
types a model's size or a meter's uncertainty twice. What a record says itself always wins.
"""

from pathlib import Path
from typing import Annotated, Any

import msgspec
import tomli
from msgspec import UNSET, Meta
from msgspec.structs import fields, replace

from gradekit.errors import Problem, ShopError
from gradekit.inspection import MEASURED, Currency, Device, Inspection


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
    rules: str | None = None
    """The shop's own rule folder, beside the profile."""
    models: dict[str, dict[str, dict[str, Any]]] = {}
    """Maker, then model, then device fields."""


def load_shop(path: Path) -> Shop:
    """Read a shop's profile; ShopError lists what is wrong with it."""
    try:
        shop = msgspec.convert(tomli.loads(path.read_text("utf-8")), Shop)
    except OSError as error:
        raise _refused(path, f"cannot be read ({error.strerror})", "name a file") from None
    except (tomli.TOMLDecodeError, UnicodeDecodeError, msgspec.ValidationError) as error:
        raise _refused(path, str(error), "mend the profile") from None
    problems = [p for p in _model_problems(shop, path) if p is not None]
    problems += [
        Problem(
            where=f"{path.name}: uncertainty.{name}",
            problem="no reading has this field",
            remedy=f"use one of {', '.join(MEASURED)}",
        )
        for name in shop.uncertainty
        if name not in MEASURED
    ]
    if problems:
        raise ShopError(problems)
    return shop


def _refused(path: Path, problem: str, remedy: str) -> ShopError:
    return ShopError([Problem(where=path.name, problem=problem, remedy=remedy)])


def _model_problems(shop: Shop, path: Path) -> list[Problem | None]:
    return [
        _model_problem(f"{path.name}: models.{maker}.{model}", known)
        for maker, models in shop.models.items()
        for model, known in models.items()
    ]


def _model_problem(where: str, known: dict[str, Any]) -> Problem | None:
    try:
        msgspec.convert({"kind": "any", **known}, Device)
    except msgspec.ValidationError as error:
        return Problem(where=where, problem=str(error), remedy="use the fields of device")
    return None


def complete(inspection: Inspection, shop: Shop) -> Inspection:
    """The record with what the shop knows of the model and of its instruments filled in."""
    device = inspection.device
    known = shop.models.get(device.maker or "", {}).get(device.model or "", {})
    if known:
        device = _filled(device, msgspec.convert({"kind": device.kind, **known}, Device))
    uncertainty = {**shop.uncertainty, **(inspection.uncertainty or {})}
    return replace(inspection, device=device, uncertainty=uncertainty or UNSET)


def _filled(device: Device, known: Device) -> Device:
    silent = [f.name for f in fields(device) if getattr(device, f.name) is UNSET]
    return replace(device, **{name: getattr(known, name) for name in silent})
