"""SPECIFICATIONS: what a device is called and what it has, worded for readers.

It stands before the listing. A feature is told only where nothing it does failed or went untried.
"""

from datetime import date

from msgspec import UNSET, UnsetType

from gradekit.disclosures import Phrases, plain
from gradekit.inspection import Device, known
from gradekit.sales import Sale
from gradekit.subjects import Facts


def name(device: Device) -> str:
    """Maker and model, as far as they are known; may be empty."""
    return " ".join(part for part in (plain(device.maker), plain(device.model)) if part)


def title(sale: Sale, phrases: Phrases) -> str:
    """What the unit is: its name, the kind of device, and what tells it from others of its name."""
    device, kind = sale.inspection.device, phrases.word(sale.kind.kind)
    called = name(device)
    values = {
        "name": called or None,
        "kind": kind if called else kind[:1].upper() + kind[1:],
        "storage": _gigabytes(device.storage_gb, phrases),
        "colour": plain(device.colour),
    }
    return phrases.render("title", values)


def specifications(sale: Sale, facts: Facts, phrases: Phrases) -> dict[str, str]:
    """Each fact of the device that is known, by its label."""
    device = sale.inspection.device
    values = {
        "maker": plain(device.maker),
        "model": plain(device.model),
        "model_number": plain(device.model_number),
        "year": str(device.year) if device.year else None,
        "storage_gb": _gigabytes(device.storage_gb, phrases),
        "memory_gb": _gigabytes(device.memory_gb, phrases),
        "colour": plain(device.colour),
        "os": plain(device.os),
        "updates_until": _month(device.updates_until, phrases),
        "size_mm": _size(known(device.size_mm), phrases),
        "has": phrases.listed(_proven(sale, facts)) or None,
    }
    return {phrases.say("spec", key): value for key, value in values.items() if value}


def _proven(sale: Sale, facts: Facts) -> list[str]:
    """Features of the unit, but for those of which some function did not pass."""
    amiss = {t.function for t in facts.tests if t.result != "pass" or t.open}
    doubtful = {sale.kind.functions[function].if_present for function in amiss}
    return [feature for feature in sale.inspection.device.has or () if feature not in doubtful]


def _gigabytes(size: float | UnsetType, phrases: Phrases) -> str | None:
    return None if size is UNSET else phrases.gigabytes(size)


def _size(size: tuple[float, ...] | None, phrases: Phrases) -> str | None:
    return None if size is None else f"{' × '.join(phrases.figure(n) for n in size)} mm"


def _month(month: str | UnsetType, phrases: Phrases) -> str | None:
    if month is UNSET:
        return None
    try:
        return phrases.month(date.fromisoformat(f"{month}-01"))
    except ValueError:  # no calendar has the year 0
        return month
