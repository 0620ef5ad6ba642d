"""What it would cost to put right what was found; the page about a certificate says it in the same words."""

from decimal import Decimal

from diagnostics.charts.words import percent_words
from diagnostics.engine.words import _, number
from diagnostics.paper.kit import CELL, CELL_RIGHT, SMALL, Flow, day, heading, table, text
from reports.document.content import Certificate, PutRight, PutRightRow


def what_it_costs(content: Certificate) -> list[Flow]:
    costs = content.put_right
    if costs is None:
        return []
    story: list[Flow] = [*heading(_("What it would cost to put right")), text(cost_words(costs))]
    if costs.rows:
        head = [_("Repair"), _("Chance of need"), _("Labour"), _("Part")]
        looks = (CELL, CELL_RIGHT, CELL_RIGHT, CELL_RIGHT)
        rows = [
            [text(words, look) for words, look in zip(cost_cells(row, costs.currency), looks, strict=True)]
            for row in costs.rows
        ]
        story.append(table(head, rows, [0.4, 0.13, 0.2, 0.27], right=(1, 2, 3)))
    return [*story, *(text(words, SMALL) for words in cost_remarks(costs))]


def money(amount: Decimal, currency: str) -> str:
    return f"{number(amount, ',.2f')} {currency}"


def cost_words(costs: PutRight) -> str:
    if not costs.rows:
        return _("No sum can be named: no repair of the shop’s list stands for what was found. Ask for an estimate.")
    least, most = money(costs.least, costs.currency), money(costs.most, costs.currency)
    if costs.least == costs.most:
        return _("About {most}, tax included. It is no offer; ask for an estimate.").format(most=most)
    if not costs.least:
        return _(
            "At most about {most}, tax included, if all of it has to be done; no single repair is likelier than not. "
            "It is no offer; ask for an estimate."
        ).format(most=most)
    return _(
        "About {least} if only what is likelier than not has to be done, {most} if all of it has, tax included. It is "
        "no offer; ask for an estimate."
    ).format(least=least, most=most)


def cost_cells(row: PutRightRow, currency: str) -> tuple[str, str, str, str]:
    """Repair, chance that it is needed, labour and part, without tax."""
    labour = _("{hours} h, {amount}").format(hours=row.hours, amount=money(row.labour, currency))
    return f"{row.position}: {row.words}", percent_words(row.chance), labour, _part(row, currency)


def _part(row: PutRightRow, currency: str) -> str:
    if not row.part:
        return "–"
    if row.part_price is None:
        return _("{part}, no price known").format(part=row.part)
    words = _("{part}, {price}") if row.price_from == "asked" else _("{part}, {price} (what the shop pays)")
    return words.format(part=row.part, price=money(row.part_price, currency))


def cost_remarks(costs: PutRight) -> list[str]:
    """What the sums rest on, and what they leave out."""
    remarks = [
        _(
            "By this shop’s prices of {day}: {rate} an hour without tax, usual times of the trade, parts at what a "
            "customer was asked for them last, or at what the shop pays where that is said; the sums are with {tax} % "
            "tax."
        ).format(
            day=day(costs.as_of),
            rate=money(costs.hourly_rate, costs.currency),
            tax=number(costs.tax_percent.normalize(), "f"),
        )
    ]
    if costs.least != costs.most:
        remarks.append(
            _("Where several repairs stand for one fault, all are in the higher sum, though one of them will do.")
        )
    if costs.without_price:
        parts = ", ".join(row.part for row in costs.without_price)
        remarks.append(_("Not in the sums, since no price is known: {parts}.").format(parts=parts))
    if costs.unpriced:
        subjects = "; ".join(costs.unpriced)
        remarks.append(_("Not in the sums, since no repair of the list stands for it: {what}.").format(what=subjects))
    return remarks
