"""The estimate on paper: what was sent, word for word, with what was answered since."""

from django.utils import timezone
from django.utils.translation import gettext as _

from reports.document.draw.estimate import draw_estimate
from reports.document.sheets import EstimatePaper, EstimateRow, Standing
from shop.errors import Conflict
from shop.estimates import line_cells, line_text, line_words, money_words
from shop.models import EstimateLine, EstimateVersion, LineAnswer, ShopProfile, VersionState
from shop.selectors.estimates import VersionShown, shown
from shop.words import day_words


def estimate_pdf(version: EstimateVersion) -> bytes:
    """`version` read by versions_with_lines() with its job and car. Conflict for a draft: nothing of it is frozen."""
    return draw_estimate(estimate_paper(version))


def estimate_paper(version: EstimateVersion) -> EstimatePaper:
    if version.state == VersionState.DRAFT or version.sent_at is None:
        raise Conflict(_("This version is a draft: it was not sent yet. Its paper comes with the sending."))
    found = shown(version)
    profile = ShopProfile.objects.first()
    rows = tuple(_row(version, line) for line in found.lines)
    title, head, foot = _around(version.text, rows)
    standing, notice = _standing(found)
    return EstimatePaper(
        shop=profile.name if profile else "",
        job=version.estimate.job.number,
        title=title,
        head=head,
        rows=rows,
        foot=foot,
        sums=_sums(found),
        standing=standing,
        notice=notice,
        sent_at=timezone.localtime(version.sent_at),
        printed_at=timezone.localtime(),
    )


def _row(version: EstimateVersion, line: EstimateLine) -> EstimateRow:
    text = line_text(version, line)
    # Were numbers or words written otherwise today, the columns would not be what was sent.
    cells = line_cells(line, version.currency) if line_words(line, version.currency) == text else ()
    answer: LineAnswer | None = getattr(line, "answer", None)
    if answer is None:
        return EstimateRow(line.number, text, cells)
    return EstimateRow(
        line.number,
        text,
        cells,
        "approved" if answer.answer == "approved" else "declined",
        _answered(answer),
    )


def _answered(answer: LineAnswer) -> str:
    at = timezone.localtime(answer.at)
    words = _("{name}, {day}, {time}").format(name=answer.name, day=day_words(answer.at), time=f"{at:%H:%M}")
    if answer.noted_by is not None:
        words += " · " + _("noted by {who}").format(who=answer.noted_by)
    return words


def _around(text: str, rows: tuple[EstimateRow, ...]) -> tuple[str, str, tuple[tuple[str, str], ...]]:
    """Title, words before the lines, and the sums after them, of what was sent."""
    lines = text.splitlines()
    last = max(at for at, one in enumerate(lines) if one == rows[-1].text)
    # Every line stands between empty ones; the words before them may repeat one, so it is counted from the last.
    first = last - 2 * (len(rows) - 1)
    foot = (one.rpartition(": ") for one in lines[last + 1 :] if one)
    return lines[0], "\n".join(lines[1:first]).strip(), tuple((name, amount) for name, _colon, amount in foot)


def _sums(found: VersionShown) -> tuple[tuple[str, str], ...]:
    if not found.answered:
        return ()
    currency = found.version.currency
    return (
        (_("Approved"), money_words(found.approved.gross, currency)),
        (_("Declined"), money_words(found.declined.gross, currency)),
        (_("Open"), money_words(found.waiting.gross, currency)),
    )


def _standing(found: VersionShown) -> tuple[Standing, str]:
    """In the words of the customer's page."""
    version, day = found.version, day_words(found.version.expires_at)
    if version.state == VersionState.REPLACED:
        return "replaced", _(
            "We sent you a newer version of this estimate. Please answer that one; this one counts no more."
        )
    if version.state == VersionState.WITHDRAWN:
        return "withdrawn", _("We have withdrawn this estimate. Please ask us for a new one.")
    if not found.waits:
        return "answered", _("Every line is answered.")
    if version.expires_at is not None and version.expires_at <= timezone.now():
        words = _("This estimate could be answered until {day}. Please ask us for a new one.")
        return "expired", words.format(day=day)
    return "open", _("It can be answered until {day}.").format(day=day)
