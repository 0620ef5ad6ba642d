"""The first page: what was inspected, by whom, when, the result and the findings, for a reader who knows no tops."""

from collections import Counter

from reportlab.platypus import Spacer, Table, TableStyle

from diagnostics.engine.words import _, number
from diagnostics.paper.kit import (
    BARE,
    BODY,
    CELL,
    CELL_BOLD,
    INK,
    LABEL,
    PLAIN_FONT,
    SMALL,
    SOFT_SMALL,
    STRONG,
    TITLE,
    WIDTH,
    Flow,
    day,
    facts,
    heading,
    month,
    table,
    text,
)
from diagnostics.paper.marks import Mark, Seam
from reports.document.content import Certificate
from reports.document.draw.code import Code, Proof
from reports.document.draw.inspection import plan_words
from reports.document.draw.states import area_words, statement_tag, weight_tag

_CODE = 68
"""Points: 24 mm, which a telephone reads from a printed page."""


def first_page(content: Certificate, proof: Proof | None) -> list[Flow]:
    return [
        *_masthead(content, proof),
        *_replaces(content),
        *_who_and_what(content),
        *_result(content),
        *_tested(content),
        *_findings(content),
        *_not_tested(content),
        *_ahead(content),
    ]


def _masthead(content: Certificate, proof: Proof | None) -> list[Flow]:
    issuer = content.issuer
    reach = " · ".join(part for part in (issuer.phone, issuer.email) if part)
    name = [text(issuer.name, STRONG), text(issuer.address, SOFT_SMALL)]
    if reach:
        name.append(text(reach, SOFT_SMALL))
    number = [text(_("Certificate"), LABEL), text(content.number, STRONG), text(_("issued"), LABEL)]
    number.append(text(day(content.issued_at), STRONG))
    cells, widths = [Mark(1.05), name, number], [50, WIDTH - 50 - 128, 128]
    if proof is not None:
        number.append(text(_("To check it, scan the code."), LABEL))
        cells.append(Code(proof.url, _CODE))
        widths = [50, WIDTH - 50 - 128 - _CODE, 128, _CODE]
    top = Table([cells], colWidths=widths, splitInRow=1, hAlign="LEFT")
    top.setStyle(
        TableStyle(
            [
                *BARE,
                ("TOPPADDING", (0, 0), (-1, -1), 0),
                ("RIGHTPADDING", (3, 0), (3, -1), 0),
            ]
        )
    )
    return [top, Seam(), text(_("Top inspection certificate"), TITLE), Spacer(0, 4)]


def _replaces(content: Certificate) -> list[Flow]:
    if not content.replaces:
        return []
    words = _("This certificate replaces certificate {number}, which is no longer valid.")
    return [text(words.format(number=content.replaces), STRONG), Spacer(0, 4)]


def _who_and_what(content: Certificate) -> list[Flow]:
    item, half = content.item, WIDTH / 2 - 6
    odometer = ""
    if item.odometer_km is not None:
        odometer = f"{number(item.odometer_km, ',')} km" + (f" ({day(item.odometer_on)})" if item.odometer_on else "")
    system = _("not declared")
    if item.system_revision is not None:
        system = _("{title}, revision {revision}").format(title=item.system_title, revision=item.system_revision)
    left = facts(
        [
            (_("Car"), f"{item.maker} {item.model}"),
            (_("VIN"), item.vin),
            (_("Production year"), str(item.made_on.year))
            if item.year_only
            else (_("Production month"), month(item.made_on)),
            (_("Top system"), system),
            (_("Odometer"), odometer or _("not recorded")),
        ],
        half,
        0.34,
    )
    right = facts(
        [
            (_("Client"), content.client or _("not recorded")),
            (_("Job"), content.job),
            (_("Inspected on"), ", ".join(day(one) for one in content.inspected_on)),
            (_("Inspected by"), ", ".join(_person(one.name, one.role) for one in content.inspectors)),
            (_("Approved by"), _person(content.approved_by.name, content.approved_by.role)),
        ],
        half,
        0.3,
    )
    both = Table([[left, right]], colWidths=[half + 12, half], splitInRow=1, hAlign="LEFT")
    both.setStyle(
        TableStyle(
            [
                PLAIN_FONT,
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
                ("RIGHTPADDING", (0, 0), (-1, -1), 0),
            ]
        )
    )
    return [both, Spacer(0, 8)]


def _person(name: str, role: str) -> str:
    return f"{name} ({role})" if role else name


def _result(content: Certificate) -> list[Flow]:
    overall = content.overall
    inside = [statement_tag(overall.statement), text(overall.words, BODY)]
    box = Table(
        [[text(_("Overall result"), LABEL)], *[[one] for one in inside]], colWidths=[WIDTH], splitInRow=1, hAlign="LEFT"
    )
    box.setStyle(
        TableStyle(
            [
                PLAIN_FONT,
                ("BOX", (0, 0), (-1, -1), 1.1, INK, 0, (6, 3.4)),
                ("LEFTPADDING", (0, 0), (-1, -1), 9),
                ("TOPPADDING", (0, 0), (-1, -1), 2),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 3),
                ("TOPPADDING", (0, 0), (-1, 0), 6),
                ("BOTTOMPADDING", (0, -1), (-1, -1), 8),
            ]
        )
    )
    return [box]


def _tested(content: Certificate) -> list[Flow]:
    found = content.results
    proven = sum(row.made and row.released for row in found.proof)
    contacts = [row for row in found.limits if row.unit != "s"]
    words = [plan_words(found.plan)] if found.plan else []
    words += [_("Sensors seen both made and released: {n} of {all}.").format(n=proven, all=len(found.proof))]
    for trial in {one.motion: one for one in found.trials}.values():
        how = _("ran to its end") if trial.ran else _("stopped at “{step}”").format(step=trial.stopped_at)
        words.append(_("{motion}, last trial: {how}.").format(motion=trial.title, how=how))
    if contacts:
        good = sum(row.outcome == "pass" for row in contacts)
        words.append(_("Closed contacts within their limit: {n} of {all}.").format(n=good, all=len(contacts)))
    return [*heading(_("What was tested")), text(" ".join(words))]


def _findings(content: Certificate) -> list[Flow]:
    story: list[Flow] = heading(_("What was found"))
    found = content.results.findings
    if not found:
        return [*story, text(_("Nothing, in what was tested. What was not tested is said below."))]
    rows = [
        [weight_tag(one.weight), [text(one.subject, CELL_BOLD), text(one.words, CELL), text(one.rule, SOFT_SMALL)]]
        for one in found
    ]
    return [*story, table([_("Weight"), _("Finding, and the rule that gave its weight")], rows, [0.16, 0.84])]


def _not_tested(content: Certificate) -> list[Flow]:
    rows = content.results.not_tested
    count = Counter(area_words(row.area) for row in rows)
    if not rows:
        return [*heading(_("What was left out")), text(_("Nothing of what the top system declares."))]
    words = _(
        "Not tested, or only in part: {areas} ({count} in all). This certificate says nothing about them. "
        "The list stands under “What was not tested”."
    )
    areas = ", ".join(f"{area} {number}" for area, number in count.items())
    return [*heading(_("What was left out")), text(words.format(count=len(rows), areas=areas))]


def _ahead(content: Certificate) -> list[Flow]:
    return [
        *heading(_("Outlook")),
        text(content.outlook),
        Spacer(0, 6),
        text(" ".join(content.statements), SMALL),
    ]
