"""Sums of estimates: that they agree, whatever the lines."""

from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from shop.planning.money import Priced, cents, hours_of, line_total, totals

LINES = st.lists(
    st.builds(
        Priced,
        st.decimals("0.01", "9999999.99", places=2),
        st.decimals("0", "99999999.99", places=2),
        st.sampled_from([Decimal(rate) for rate in ("0", "5.50", "7", "20", "20.00", "99.99")]),
    ),
    max_size=40,
)


@given(LINES)
def test_the_parts_of_a_total_are_the_total(lines: list[Priced]) -> None:
    found = totals(lines)
    assert found.net == sum(share.net for share in found.shares) == sum(map(line_total, lines))
    assert found.gross == found.net + sum(share.tax for share in found.shares)
    assert all(isinstance(one, Decimal) for one in (found.net, found.tax, found.gross))
    rates = [share.percent for share in found.shares]
    assert rates == sorted(set(rates))


@given(LINES)
def test_every_sum_is_in_whole_cents_and_no_tax_is_off_by_more_than_half_a_cent(lines: list[Priced]) -> None:
    found = totals(lines)
    for amount in (found.net, found.tax, found.gross):
        assert amount == cents(amount)
        assert amount.as_tuple().exponent == -2
    for share in found.shares:
        assert abs(share.tax - share.net * share.percent / 100) <= Decimal("0.005")


@given(LINES, st.randoms())
def test_the_order_of_the_lines_changes_no_sum(lines: list[Priced], chance: object) -> None:
    turned = list(lines)
    chance.shuffle(turned)  # type: ignore[attr-defined]
    assert totals(turned) == totals(lines)


def test_minutes_become_hours_rounded_half_up() -> None:
    assert [hours_of(minutes) for minutes in (0, 1, 20, 90)] == [
        Decimal("0.00"), Decimal("0.02"), Decimal("0.33"), Decimal("1.50"),
    ]  # fmt: skip
