"""SHOP: a profile fills in what the shop knows once for all, and the record always wins."""

from pathlib import Path
from typing import Any

import pytest
from msgspec import UNSET

from gradekit import Inspection, complete, load_shop
from gradekit.errors import ShopError
from gradekit.shop import Shop
from tests import small

PROFILE = """\
market = "AU"
language = "en"
currency = "AUD"
rules = "house_rules"

[trader]
name = "Harbour Bench"
address = "3 Slipway Lane, Port Ellery"

[terms]
returns_days = 30
delivery = "By post within three working days."

[uncertainty]
full_charge_mah = 40
length_mm = 0.5

[models.Quellmar.Q2]
year = 2023
storage_gb = 128
has = ["radio"]
size_mm = [72.1, 151.0, 8.4]
ip_rating = "IP68"
"""


def load(folder: Path, old: str = "", new: str = "") -> Shop:
    assert old in PROFILE
    (folder / "shop.toml").write_text(PROFILE.replace(old, new) if old else PROFILE, "utf-8")
    return load_shop(folder / "shop.toml")


# --- the profile ---------------------------------------------------------------------------------


def test_a_profile_is_read_whole(tmp_path: Path) -> None:
    """What a profile says is what the shop is; what it leaves out is not offered."""
    shop = load(tmp_path)
    assert (shop.trader.name, shop.trader.email) == ("Harbour Bench", None)
    assert (shop.market, shop.language, shop.currency, shop.rules) == (
        "AU",
        "en",
        "AUD",
        "house_rules",
    )
    assert (shop.terms.returns_days, shop.terms.guarantee) == (30, None)
    assert shop.models["Quellmar"]["Q2"]["year"] == 2023


def test_little_is_enough(tmp_path: Path) -> None:
    """A trader, a market, a language and a currency make a profile."""
    text = (
        'market = "US-CA"\nlanguage = "en"\ncurrency = "USD"\n[trader]\nname = "x"\naddress = "y"\n'
    )
    (tmp_path / "shop.toml").write_text(text, "utf-8")
    shop = load_shop(tmp_path / "shop.toml")
    assert (shop.market, shop.models, shop.uncertainty) == ("US-CA", {}, {})


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('currency = "AUD"\n', "", "Object missing required field `currency`"),
        (
            'currency = "AUD"',
            'currency = "aud"',
            "Expected `str` matching regex",
        ),
        ('market = "AU"', 'market = "Australia"', "Expected `str` matching regex"),
        ('language = "en"', 'language = "eng"', "Expected `str` matching regex"),
        (
            "returns_days",
            "return_days",
            "Object contains unknown field `return_days` - at `$.terms`",
        ),
        (
            "returns_days = 30",
            "returns_days = -1",
            "Expected `int` >= 0 - at `$.terms.returns_days`",
        ),
        (
            "length_mm = 0.5",
            "length_mm = -0.5",
            "Expected `float` >= 0.0 - at `$.uncertainty[...]`",
        ),
        ("length_mm = 0.5", "length_mm = nan", "Expected `float` >= 0.0 - at `$.uncertainty[...]`"),
        ('name = "Harbour Bench"\n', "", "Object missing required field `name` - at `$.trader`"),
        ("[trader]", "[seller]", "Object contains unknown field `seller`"),
    ],
)
def test_a_faulty_profile_is_refused(tmp_path: Path, old: str, new: str, says: str) -> None:
    """A misspelt or missing term is told with the file and the place, and never left out."""
    (line,) = small.refusal(ShopError, load, tmp_path, old, new)
    assert line.startswith(f"shop.toml: {says}")
    assert line.endswith("; mend the profile")


@pytest.mark.parametrize("data", [b"market = ", b"\xff\xfe", b"market = 1\nmarket = 2"])
def test_a_file_that_is_no_toml_is_refused(tmp_path: Path, data: bytes) -> None:
    """A broken file ends in a refusal that names it, never in a traceback of the parser."""
    (tmp_path / "shop.toml").write_bytes(data)
    (line,) = small.refusal(ShopError, load_shop, tmp_path / "shop.toml")
    assert line.startswith("shop.toml: ")


def test_a_file_that_is_not_there_is_refused(tmp_path: Path) -> None:
    """A profile that was named must be found; so must one that is a folder."""
    (line,) = small.refusal(ShopError, load_shop, tmp_path / "shop.toml")
    assert line == "shop.toml: cannot be read (No such file or directory); name a file"
    (line,) = small.refusal(ShopError, load_shop, tmp_path)
    assert line.endswith(": cannot be read (Is a directory); name a file")


def test_every_faulty_model_is_told_at_once(tmp_path: Path) -> None:
    """Models hold fields of a device and no others, and one reading tells all that do not."""
    more = (
        "[models.Quellmar.Q3]\nyeer = 2024\n"
        '[models."Brack & Low".B1]\nyear = "old"\n[models.Quellmar.Q2]'
    )
    lines = small.refusal(ShopError, load, tmp_path, "[models.Quellmar.Q2]", more)
    assert lines == [
        "shop.toml: models.Quellmar.Q3: Object contains unknown field `yeer`; "
        "use the fields of device",
        "shop.toml: models.Brack & Low.B1: Expected `int`, got `str` - at `$.year`; "
        "use the fields of device",
    ]


@pytest.mark.parametrize("field", ["length", "marks", "cleaned"])
def test_an_uncertainty_of_nothing_is_refused(tmp_path: Path, field: str) -> None:
    """A misspelt instrument would silently leave every reading without its margin."""
    lines = small.refusal(ShopError, load, tmp_path, "length_mm = 0.5", f"{field} = 0.5")
    assert len(lines) == 1
    assert field in lines[0]


@pytest.mark.parametrize("value", ["inf", "1e999"])
def test_an_uncertainty_is_finite(tmp_path: Path, value: str) -> None:
    """An instrument of endless uncertainty measures nothing."""
    assert small.refusal(ShopError, load, tmp_path, "length_mm = 0.5", f"length_mm = {value}")


# --- what it fills in ----------------------------------------------------------------------------


def completed(folder: Path, device: dict[str, Any], **fields: Any) -> Inspection:
    return complete(small.read(device=device, **fields), load(folder))


def test_a_known_model_is_filled_in(tmp_path: Path) -> None:
    """What the shop knows of a model need not be typed for each unit."""
    device = completed(tmp_path, {"maker": "Quellmar", "model": "Q2", "colour": "slate"}).device
    assert (device.kind, device.year, device.storage_gb) == ("beacon", 2023, 128)
    assert (device.has, device.size_mm, device.ip_rating) == (
        ("radio",),
        (72.1, 151.0, 8.4),
        "IP68",
    )
    assert (device.colour, device.memory_gb) == ("slate", UNSET)


def test_what_the_record_says_wins(tmp_path: Path) -> None:
    """A value of the record is never overwritten, an empty list neither."""
    said = {"maker": "Quellmar", "model": "Q2", "year": 2022, "has": []}
    device = completed(tmp_path, said).device
    assert (device.year, device.has, device.storage_gb) == (2022, (), 128)


@pytest.mark.parametrize(
    "device",
    [{}, {"maker": "Quellmar"}, {"model": "Q2"}, {"maker": "Quellmar", "model": "Q9"}],
)
def test_an_unknown_model_stays_as_recorded(tmp_path: Path, device: dict[str, str]) -> None:
    """Without both maker and model nothing is guessed."""
    inspection = small.read(device=device)
    assert complete(inspection, load(tmp_path)).device == inspection.device


def test_a_model_of_the_shop_never_changes_the_kind(tmp_path: Path) -> None:
    """What kind of thing it is, the record says."""
    shop = load(tmp_path, "year = 2023", 'kind = "bell"')
    inspection = small.read(device={"maker": "Quellmar", "model": "Q2"})
    assert complete(inspection, shop).device.kind == "beacon"


def test_instruments_bring_their_uncertainty(tmp_path: Path) -> None:
    """The shop's uncertainty counts where the record states none of its own."""
    filled = completed(tmp_path, {}, uncertainty={"length_mm": 0.1, "width_mm": 0.05}).uncertainty
    assert filled == {"full_charge_mah": 40, "length_mm": 0.1, "width_mm": 0.05}


def test_a_shop_that_states_no_uncertainty_adds_none(tmp_path: Path) -> None:
    """Where neither shop nor record states one, the record stays silent."""
    shop = load(tmp_path, "[uncertainty]\nfull_charge_mah = 40\nlength_mm = 0.5\n")
    assert complete(small.read(), shop).uncertainty is UNSET


def test_nothing_else_is_touched(tmp_path: Path) -> None:
    """Beside the device and the uncertainty a completed record is the record."""
    inspection = small.read(marks=[], inspector="bench-2", shop_note="as found")
    filled = complete(inspection, load(tmp_path))
    for name in set(inspection.__struct_fields__) - {"device", "uncertainty"}:
        assert getattr(filled, name) == getattr(inspection, name)
