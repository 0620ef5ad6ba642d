"""Rounding of tax against what others publish."""

from decimal import Decimal

import pytest

from shop.planning.money import Priced, cents, totals


@pytest.mark.parametrize(
    ("net", "percent", "tax"),
    [
        # Worked example "Calculations and rounding" of an accounting service's public reference (developer.wafeq.com,
        # read in 2026): 45.30 at 5 % is 2.265, given as 2.27; 33.45 at 10 % is 3.345, given as 3.35. Half to even would
        # give 2.26 and 3.34.
        ("45.30", "5", "2.27"),
        ("33.45", "10", "3.35"),
    ],
)
def test_tax_of_the_published_example(net: str, percent: str, tax: str) -> None:
    assert totals([Priced(Decimal(1), Decimal(net), Decimal(percent))]).tax == Decimal(tax)


def test_the_whole_of_the_published_example() -> None:
    """Its totals: 78.75 without tax, 5.62 of tax, 84.37 in all."""
    found = totals(
        [Priced(Decimal(1), Decimal("45.30"), Decimal(5)), Priced(Decimal(1), Decimal("33.45"), Decimal(10))]
    )
    assert (found.net, found.tax, found.gross) == (Decimal("78.75"), Decimal("5.62"), Decimal("84.37"))


def test_half_a_penny_and_more_goes_up_and_less_goes_down() -> None:
    """HMRC internal manual VATREC12030: less than 0.5 of a penny is rounded down, 0.5 or more up (as Council Regulation
    (EC) 1103/97 for conversions into euro)."""
    assert cents(Decimal("1.004999")) == Decimal("1.00")
    assert cents(Decimal("1.005")) == Decimal("1.01")
    assert cents(Decimal("1.0050001")) == Decimal("1.01")


def test_tax_is_of_the_sum_of_a_rate_not_of_each_line() -> None:
    """EN 16931, rule BR-CO-17: tax amount of a rate = taxable amount of the rate x rate, rounded to two decimals. Three
    lines of 1.24 at 10 % are 3.72, tax 0.37; line by line it would be 3 x 0.12 = 0.36."""
    assert totals([Priced(Decimal(1), Decimal("1.24"), Decimal(10))] * 3).tax == Decimal("0.37")
