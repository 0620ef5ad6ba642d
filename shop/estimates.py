"""An estimate in words: what the customer reads, word for word, and what an answer keeps of a line."""

from collections.abc import Iterable
from decimal import Decimal

from django.utils import formats
from django.utils.translation import gettext as _

from shop.models import EstimateLine, EstimateVersion, Outlay, ShopProfile
from shop.planning.money import Priced, Totals, line_total, totals
from shop.words import day_words


def money_words(amount: Decimal, currency: str) -> str:
    """An amount with its currency, as people here write numbers: EUR 1,234.50."""
    return f"{currency} {_number(amount, 2)}"


def percent_words(percent: Decimal) -> str:
    return f"{_plain(percent)} %"


def priced(row: EstimateLine | Outlay) -> Priced:
    return Priced(row.quantity, row.unit_price, row.tax_percent)


def totals_of(rows: Iterable[EstimateLine | Outlay]) -> Totals:
    return totals(map(priced, rows))


def line_words(line: EstimateLine, currency: str) -> str:
    """One line of text: number, kind, words, quantity, price, sum, tax."""
    return _("{number}. {kind}: {words} – {quantity} {unit} at {price} = {sum} (tax {tax})").format(
        number=line.number,
        kind=line.get_kind_display(),
        words=line.words,
        quantity=_plain(line.quantity),
        unit=line.unit,
        price=money_words(line.unit_price, currency),
        sum=money_words(line_total(priced(line)), currency),
        tax=percent_words(line.tax_percent),
    )


def line_cells(line: EstimateLine, currency: str) -> tuple[str, str, str, str, str]:
    """The same in columns: kind and words, quantity, price, tax, sum."""
    return (
        f"{line.get_kind_display()}: {line.words}",
        f"{_plain(line.quantity)} {line.unit}",
        money_words(line.unit_price, currency),
        percent_words(line.tax_percent),
        money_words(line_total(priced(line)), currency),
    )


def answered_words(title: str, *, approved: int, declined: int) -> str:
    """What the trail says of an answer: how many lines, not whose and for how much."""
    return _("{title}: approved {yes}, declined {no}.").format(title=title, yes=approved, no=declined)


def text_of(version: EstimateVersion, lines: list[EstimateLine], shop: ShopProfile | None) -> str:
    """All that the customer reads, before the day on which the link ends is known."""
    estimate, job = version.estimate, version.estimate.job
    head = [
        _("{title}, version {version}").format(title=estimate.title, version=version.version),
        *([shop.name, shop.address] if shop else []),
        _("{job}: {car}").format(job=job, car=job.car),
    ]
    sums = totals_of(lines)
    foot = [_("Sum without tax: {sum}").format(sum=money_words(sums.net, version.currency))]
    foot += [
        _("Tax {rate} on {net}: {tax}").format(
            rate=percent_words(one.percent),
            net=money_words(one.net, version.currency),
            tax=money_words(one.tax, version.currency),
        )
        for one in sums.shares
    ]
    foot.append(_("Sum with tax: {sum}").format(sum=money_words(sums.gross, version.currency)))
    blocks = ["\n".join(head), version.words.strip(), *(line_words(line, version.currency) for line in lines)]
    return "\n\n".join([*filter(None, blocks), "\n".join(foot)])


def line_text(version: EstimateVersion, line: EstimateLine) -> str:
    """The line as it stands in what was sent. Looked for from the end: only the sums come after the lines, and the
    words before them may begin with a number too."""
    beginning = f"{line.number}. "
    return next(text for text in reversed(version.text.splitlines()) if text.startswith(beginning))


def mail_text(version: EstimateVersion, link: str, shop: ShopProfile | None) -> str:
    """The mail that brings the link."""
    ends = _("The link is yours alone and shows it until {day}.").format(day=day_words(version.expires_at))
    ask = _("Please answer line by line here:")
    return "\n\n".join([version.text, f"{ask}\n{link}", ends, shop.name if shop else ""]).strip() + "\n"


def _plain(number: Decimal) -> str:
    """Whole numbers without decimals: 20, 1.50."""
    whole = number == number.to_integral_value()
    return _number(number, 0) if whole else _number(number, 2)


def _number(number: Decimal, places: int) -> str:
    return formats.number_format(number, places, use_l10n=True, force_grouping=True)
