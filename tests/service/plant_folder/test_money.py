"""Amounts of money and the decimals of their currency (ISO 4217: JPY 0, EUR 2, KWD 3)."""

from pathlib import Path

import pytest

from service.plant_folder.refusals import Refusal
from tests.service.plant_folder.invented_plant import read, refusals


def _part(price: str, currency: str = "") -> str:
    return f"part_number,kind,price,currency\nK-1,seal_kit,{price},{currency}\n"


@pytest.mark.parametrize(
    ("price", "currency", "minor"),
    [
        ("12.50", "EUR", 1250),
        ("12.5", "EUR", 1250),
        ("12", "EUR", 1200),
        ("1250", "JPY", 1250),
        ("1.25", "KWD", 1250),
    ],
)
def test_a_price_is_kept_in_minor_units_of_its_currency(
    tmp_path: Path, price: str, currency: str, minor: int
) -> None:
    values = read(tmp_path, parts=_part(price, currency)).tables["parts"][0].values
    assert values["price_minor"] == minor
    assert values["currency"] == currency


@pytest.mark.parametrize(
    ("price", "currency", "says"),
    [
        ("12.505", "EUR", "'12.505' has more decimals than EUR has (2)"),
        ("12.5", "JPY", "'12.5' has more decimals than JPY has (0)"),
        ("1.2345", "KWD", "'1.2345' has more decimals than KWD has (3)"),
        ("-3", "EUR", "'-3' is below 0: a price or cost cannot be negative"),
        ("€3", "EUR", "'€3' is not an amount of money; write it like 12.50, without a sign"),
        ("1e3", "EUR", "'1e3' is not an amount of money; write it like 12.50, without a sign"),
        ("nan", "EUR", "'nan' is not an amount of money; write it like 12.50, without a sign"),
        ("9" * 16, "EUR", f"'{'9' * 16}' is more money than can be kept"),
    ],
)
def test_an_amount_that_cannot_be_is_refused(tmp_path: Path, price: str, currency: str, says: str) -> None:
    assert refusals(tmp_path, parts=_part(price, currency)) == (Refusal("parts.csv", 2, "price", price, says),)


def test_a_currency_is_a_code_of_three_letters(tmp_path: Path) -> None:
    assert refusals(tmp_path, parts=_part("3", "euro")) == (
        Refusal("parts.csv", 2, "currency", "euro", "'euro' is not a currency code of ISO 4217, like EUR"),
    )


def test_a_cost_of_a_system_is_in_its_plants_currency(tmp_path: Path) -> None:
    plants = "plant,time_zone,currency\nNORTH,Europe/Oslo,EUR\nEAST,Asia/Tokyo,JPY\n"
    systems = "system,plant,fluid,reservoir_volume [L],stop_cost\nPRESS,NORTH,HM46,400,500\nMILL,EAST,HM46,400,500\n"
    rows = read(tmp_path, plants=plants, systems=systems).tables["systems"]
    assert [row.values["stop_cost_minor"] for row in rows] == [50_000, 500]


@pytest.mark.parametrize(
    ("currencies", "minor"), [(("JPY", "JPY"), 12), (("JPY", ""), 12), (("JPY", "EUR"), 1200), (("", ""), 1200)]
)
def test_a_price_without_currency_is_in_the_one_that_all_plants_have(
    tmp_path: Path, currencies: tuple[str, str], minor: int
) -> None:
    plants = f"plant,time_zone,currency\nNORTH,Asia/Tokyo,{currencies[0]}\nEAST,Asia/Tokyo,{currencies[1]}\n"
    values = read(tmp_path, plants=plants, parts=_part("12")).tables["parts"][0].values
    assert values["price_minor"] == minor
    assert "currency" not in values
