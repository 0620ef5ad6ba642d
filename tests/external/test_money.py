"""Rounding of tax against what others publish. What is quoted of a source was read in a stored copy of its page or file
in November 2026; what is our own arithmetic says so."""

from decimal import Decimal

import pytest

from shop.planning.money import Priced, cents, totals


def _priced(quantity: str, price: str, percent: str) -> Priced:
    return Priced(Decimal(quantity), Decimal(price), Decimal(percent))


@pytest.mark.parametrize(
    ("net", "percent", "tax"),
    [
        # Wafeq, developer reference, page "Calculations and Rounding" (developer.wafeq.com/reference): "The method used
        # to round is to round half up": 45.30 at 5 % is 2.265, given as 2.27; 33.45 at 10 % is 3.345, given as 3.35.
        ("45.30", "5", "2.27"),
        ("33.45", "10", "3.35"),
        # Wafeq, help centre, page "Rounding" (www.wafeq.com/en/wafeq-help/vat): 45.30 at 15 % is 6.795, given as 6.80.
        ("45.30", "15", "6.80"),
        # CEN/TC 434, example invoice 2 of EN 16931 in UBL (ConnectingEurope/eInvoicing-EN16931, ubl/examples,
        # ubl-tc434-example2.xml), its tax subtotals: 1460.50 at 25 % is 365.125, given as 365.13.
        ("1460.50", "25", "365.13"),
        ("1.00", "15", "0.15"),
    ],
)
def test_half_a_cent_of_tax_goes_up_as_in_published_examples(net: str, percent: str, tax: str) -> None:
    """Half to even would give 2.26, 3.34, 365.12."""
    assert totals([_priced("1", net, percent)]).tax == Decimal(tax)


def test_the_whole_of_the_example_with_two_rates() -> None:
    """Wafeq, "Calculations and Rounding": 78.75 without tax, 5.62 of tax, 84.37 in all. It rounds the tax of each line,
    we that of each rate: here every rate has one line, so both come to the same."""
    found = totals([_priced("1", "45.30", "5"), _priced("1", "33.45", "10")])
    assert (found.net, found.tax, found.gross) == (Decimal("78.75"), Decimal("5.62"), Decimal("84.37"))


# Quantity, price and rate of all 20 lines; the last one is a return: its amount, -109.98, is negative in the file.
EXAMPLE_1 = (
    ("2", "9.95", "6"), ("1", "9.85", "6"), ("1", "8.29", "6"), ("2", "7.23", "6"), ("1", "35.00", "6"),
    ("1", "35.00", "6"), ("1", "10.65", "6"), ("1", "1.55", "6"), ("3", "4.79", "6"), ("1", "8.29", "6"),
    ("2", "8.29", "6"), ("1", "9.95", "6"), ("2", "1.65", "6"), ("1", "10.80", "21"), ("1", "3.90", "6"),
    ("2", "3.80", "21"), ("2", "4.67", "21"), ("1", "18.63", "21"), ("6", "17.02", "6"), ("-6", "18.33", "6"),
)  # fmt: skip


def test_the_whole_of_a_european_example_invoice() -> None:
    """CEN/TC 434, example invoice 1 of EN 16931 in UBL (ConnectingEurope/eInvoicing-EN16931, ubl-tc434-example1.xml):
    20 lines at 6 and 21 %; its tax subtotals and its totals."""
    found = totals(_priced(*line) for line in EXAMPLE_1)
    assert [(share.percent, share.net, share.tax) for share in found.shares] == [
        (Decimal(6), Decimal("183.23"), Decimal("10.99")),
        (Decimal(21), Decimal("46.37"), Decimal("9.74")),
    ]
    assert (found.net, found.tax, found.gross) == (Decimal("229.60"), Decimal("20.73"), Decimal("250.33"))


def test_the_subtotals_of_a_european_example_invoice_come_to_its_totals() -> None:
    """CEN/TC 434, example invoice 2 (as above): three rates, one of them with a return only."""
    found = totals([_priced("1", "1460.50", "25"), _priced("1", "1.00", "15"), _priced("-1", "25.00", "0")])
    assert (found.net, found.tax, found.gross) == (Decimal("1436.50"), Decimal("365.28"), Decimal("1801.78"))


def test_half_a_penny_and_more_goes_up_and_less_goes_down() -> None:
    """HMRC, internal manual VAT Trader Records, VATREC12030 "What do we mean by rounding up and down?": tax of less
    than 0.5 of a penny is rounded down, of 0.5 or more up, as Council Regulation (EC) 1103/97 has it for the euro (its
    article 5: to the nearest cent, what lies exactly half-way up). The amounts are our own."""
    assert cents(Decimal("1.004999")) == Decimal("1.00")
    assert cents(Decimal("1.005")) == Decimal("1.01")
    assert cents(Decimal("1.0050001")) == Decimal("1.01")


def test_tax_is_of_the_sum_of_a_rate_not_of_each_line() -> None:
    """EN 16931, rule BR-CO-17 (as its validation artefacts have it): tax amount of a rate (BT-117) = taxable amount of
    the rate (BT-116) x (rate (BT-119) / 100), rounded to two decimals. Our own amounts: three lines of 1.24 at 10 % are
    3.72, tax 0.37; line by line it would be 3 x 0.12 = 0.36."""
    assert totals([_priced("1", "1.24", "10")] * 3).tax == Decimal("0.37")
