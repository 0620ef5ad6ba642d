"""Money of estimates, in Decimal alone.

Rounding, here and nowhere else: half up to the cent (as HMRC's VATREC12030 has it), once for each line, and once for
the tax of each rate on the sum of its lines (EN 16931, rule BR-CO-17).
"""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

CENT = Decimal("0.01")


@dataclass(frozen=True, slots=True)
class Priced:
    """`quantity` at `unit_price` without tax; `tax_percent` of 0 to below 100."""

    quantity: Decimal
    unit_price: Decimal
    tax_percent: Decimal


@dataclass(frozen=True, slots=True)
class TaxShare:
    """Of all lines of one rate: their sum without tax, and the tax on it."""

    percent: Decimal
    net: Decimal
    tax: Decimal


@dataclass(frozen=True, slots=True)
class Totals:
    net: Decimal
    shares: tuple[TaxShare, ...]

    @property
    def tax(self) -> Decimal:
        return sum((share.tax for share in self.shares), Decimal("0.00"))

    @property
    def gross(self) -> Decimal:
        return self.net + self.tax


def cents(amount: Decimal) -> Decimal:
    """`amount` to the cent, half up (half away from zero where it is negative)."""
    return amount.quantize(CENT, ROUND_HALF_UP)


def line_total(line: Priced) -> Decimal:
    return cents(line.quantity * line.unit_price)


def totals(lines: Iterable[Priced]) -> Totals:
    """Sums by rate, lowest rate first; all zero for no line."""
    nets: dict[Decimal, Decimal] = {}
    for line in lines:
        nets[line.tax_percent] = nets.get(line.tax_percent, Decimal("0.00")) + line_total(line)
    shares = tuple(TaxShare(rate, net, cents(net * rate / 100)) for rate, net in sorted(nets.items()))
    return Totals(sum(nets.values(), Decimal("0.00")), shares)


def hours_of(minutes: int | Decimal) -> Decimal:
    """Minutes as hours with two decimals, half up."""
    return cents(Decimal(minutes) / 60)
