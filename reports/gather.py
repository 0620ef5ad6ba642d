"""From the rows of a job to the content of its certificate. What was seen and judged is asked of the bench.

Sentences are made in the certificate's language: what the bench kept of a check is judged anew from the observation.
What people typed and what the top system declares stays as it is."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from itertools import groupby
from typing import Final, Literal

from django.utils import timezone
from pydantic import ValidationError

from diagnostics import selectors as bench
from diagnostics.charts.words import made_in_words
from diagnostics.engine.case import Complaint
from diagnostics.engine.cautions import ORDER, caution_words
from diagnostics.engine.results import Diagnosis
from diagnostics.engine.system.model import TopSystem
from diagnostics.engine.words import _, _n, spoken
from diagnostics.models import BenchSheet, Check
from diagnostics.selectors.evidence import Evidence as BenchEvidence
from diagnostics.selectors.failure_model import outlook_of_car
from diagnostics.services.free import FreeReading, judge_free
from reports.commission.selectors import client_of
from reports.document import compose
from reports.document.compose.coverage import Covered, surroundings_words, with_findings, with_plan
from reports.document.content import (
    Ahead,
    Certificate,
    Instrument,
    Issuer,
    Item,
    NotTested,
    Observed,
    Person,
    PutRight,
    Results,
    Shown,
)
from reports.document.decide import Meter
from reports.document.languages import ENGLISH, LanguageError, speaking_in
from reports.evidence import Bench, bench_of
from reports.inspection.selectors import Standing, inspection_of, rows_answered, standing_of
from reports.instruments.selectors import used_values
from reports.put_right import put_right
from shop.errors import ShopError
from shop.models import Car, Job, Moment, ShopProfile, User
from shop.uploads import picture_for_paper

MOMENTS: Final[Mapping[str, Literal["", "before", "after"]]] = {"": "", Moment.BEFORE: "before", Moment.AFTER: "after"}


def certificate_content(
    *, job: Job, number: str, by: User, issued_at: datetime, replaces: str = "", language: str = ENGLISH
) -> Certificate:
    """Everything that a certificate of `job` says now. ShopError where nothing was inspected, no issuer named or the
    language is unknown."""
    issuer = _issuer()
    at_bench, standing = _read(job)
    if standing is not None:
        _refuse_open(standing)
    if not at_bench.counted and standing is None:
        raise ShopError(
            _(
                "Nothing has been inspected in {job} yet, so there is nothing to certify: open its bench sheet first."
            ).format(job=job.number)
        )
    try:
        with speaking_in(language):  # from here on: what is raised above is said in the language of the screen
            if language != ENGLISH:
                at_bench, standing = _read(job)  # judged anew, in that language
            content = _content(job, by, issued_at, issuer, at_bench, standing)
    except LanguageError as error:
        raise ShopError(str(error)) from error
    return replace(content, number=number, replaces=replaces)


def _read(job: Job) -> tuple[Bench, Standing | None]:
    at_bench, inspection = bench_of(job), inspection_of(job)
    return at_bench, standing_of(inspection, at_bench) if inspection is not None else None


def _content(
    job: Job, by: User, issued_at: datetime, issuer: Issuer, at_bench: Bench, standing: Standing | None
) -> Certificate:
    counted, sheet, system = at_bench.counted, at_bench.sheet, at_bench.system
    covered = standing.rows if standing is not None else ()
    judged = [row for row in standing.answers if row.struck_at is None] if standing is not None else []
    days = _days(counted, covered)
    used = used_values(job)
    case = _case(at_bench)
    found = _results(job, at_bench, case, covered, compose.meter_of(used, days))
    instruments = _instruments(found, [compose.named(one, days) for one in used])
    found = replace(found, not_tested=(*found.not_tested, *compose.untraced(found, instruments)))
    ahead = _ahead(job.car, system, found, timezone.localdate(issued_at))
    return Certificate(
        number="",
        issued_at=timezone.localtime(issued_at),
        issuer=issuer,
        client=client_of(job),
        job=f"{job.number}: {job.title}",
        item=_item(job.car, system),
        inspected_on=days,
        place=", ".join([issuer.name, *issuer.address.splitlines()]),
        ambient=surroundings_words(covered),
        purpose=_("{title}. Inspection of the power convertible top as far as the results name it.").format(
            title=job.title
        ),
        method=_(
            "Readings in volts at the pins of the control module, to ground, with the module awake; actuation by hand; "
            "whole motions with their steps timed; looks, clicks, wiggles and pressure holds; judged against the "
            "declared top system."
        ),
        instruments=instruments,
        results=found,
        overall=compose.overall(
            found,
            motions=len(system.motions) if system else 0,
            remarks=tuple(compose.remarks(found, instruments)),
        ),
        decision_rule=compose.decision_rule_words(compose.meter_of(used, days)),
        cautions=cautions_of(system),
        statements=_statements(),
        client_information=_client_information(job, sheet, system),
        outlook=compose.ahead_words(ahead),
        inspectors=_inspectors([*(row.by for row in counted), *(row.by for row in judged)]),
        approved_by=_person(by),
        ahead=ahead,
        pictures=_pictures(job),
        put_right=_put_right(at_bench, case, found, timezone.localdate(issued_at)),
        language=spoken(),
    )


def results_of_job(job: Job) -> Results:
    """What was seen and done in `job`, as a certificate would say it now; of a job without any check too. Of a
    plan that is open what was found."""
    at_bench = bench_of(job)
    return with_findings(_results(job, at_bench, _case(at_bench), (), None), rows_answered(job, at_bench))


def _pictures(job: Job) -> tuple[Shown, ...]:
    rows = job.pictures.filter(on_paper=True).select_related("by")
    return tuple(
        Shown(
            row.digest,
            row.caption,
            row.position,
            MOMENTS[row.moment],
            timezone.localtime(row.at),
            str(row.by),
        )
        for row in rows
    )


def picture_files(job: Job, content: Certificate) -> dict[str, bytes]:
    """Digest -> JPEG of each picture that `content` shows. ShopError where a file is missing or damaged."""
    rows = {row.digest: row for row in job.pictures.filter(digest__in=[one.digest for one in content.pictures])}
    files = {}
    for one in content.pictures:
        try:
            with rows[one.digest].file.open("rb") as file:
                files[one.digest] = picture_for_paper(file.read())
        except (KeyError, OSError) as error:
            raise ShopError(
                _("The file of the picture “{caption}” is missing or damaged, so nothing was issued.").format(
                    caption=one.caption
                )
            ) from error
    return files


def _ahead(car: Car, system: TopSystem | None, results: Results, on: date) -> Ahead | None:
    found = outlook_of_car(system, car, on, compose.CURVE) if system is not None else None
    if system is None or found is None:
        return None
    return compose.ahead_of(
        found.outlook,
        results.findings,
        names={code: one.name for code, one in system.positions.items()},
        made={position: made_in_words(one) for (position, _mode), one in found.ranges.items()},
        as_of=on,
        learned_on=timezone.localdate(found.learning.learned_at),
    )


def _case(at_bench: Bench) -> BenchEvidence | None:
    """What the suspects of the job's sheet are weighed by; None without a declared system."""
    return bench.evidence_of_sheet(at_bench.sheet, at_bench.booked) if at_bench.sheet is not None else None


def _diagnosis(at_bench: Bench, case: BenchEvidence | None) -> Diagnosis | None:
    """None without a declared system."""
    if at_bench.sheet is None or at_bench.sheet.revision is None or case is None:
        return None
    return bench.diagnosis_of(case, at_bench.sheet.revision.sha256)


def _put_right(at_bench: Bench, case: BenchEvidence | None, found: Results, on: date) -> PutRight | None:
    """What is open by the last diagnosis of the job's sheet, at today's prices."""
    diagnosis, shop = _diagnosis(at_bench, case), ShopProfile.objects.first()
    if diagnosis is None or shop is None:
        return None
    return put_right(at_bench.system, diagnosis.repairs, found.open_findings(), shop, on)


def _instruments(found: Results, named: Sequence[Instrument]) -> tuple[Instrument, ...]:
    """Those that were chosen on the job, and that it was not recorded which ones the others were."""
    kinds = {one.kind for one in named}
    meter, watch = "multimeter" not in kinds, "stopwatch" not in kinds
    missing = []
    if meter and watch:
        missing.append(_("Digital multimeter and stopwatch of the shop; which ones was not recorded"))
    elif meter or watch:
        one = _("Digital multimeter of the shop") if meter else _("Stopwatch of the shop")
        missing.append(_("{instrument}; which one was not recorded").format(instrument=one))
    if found.holds and "pressure-gauge" not in kinds:
        missing.append(_("Pressure gauge of the shop; which one was not recorded"))
    return (*named, *map(Instrument, missing))


def _issuer() -> Issuer:
    shop = ShopProfile.objects.first()
    if shop is None:
        raise ShopError(_("The shop’s name and address are not entered yet; a certificate must say who issues it."))
    return Issuer(shop.name, shop.address, shop.phone, shop.email)


def _refuse_open(standing: Standing) -> None:
    """ShopError where an item of the plan is still open."""
    missing = standing.open_items
    if missing:
        words = _n(
            "The inspection plan of {job} is not complete: {n} item is open, “{item}”.",
            "The inspection plan of {job} is not complete: {n} items are open, the first one is “{item}”.",
            len(missing),
        )
        words += " " + _("See what is open, or skip it with a reason.")
        job = standing.inspection.job
        raise ShopError(words.format(job=job.number, n=len(missing), item=missing[0].item.title))


def _results(
    job: Job, at_bench: Bench, case: BenchEvidence | None, covered: Sequence[Covered], meter: Meter | None
) -> Results:
    evidence, counted, diagnosis = at_bench.evidence, at_bench.counted, _diagnosis(at_bench, case)
    paths = bench.repaired_paths(case) if case else bench.repaired_paths_of_job(job)
    unproven = {path.position: path.missing for path in paths if not path.proven}
    if evidence is None or case is None or diagnosis is None:
        free = [_observed(row) for row in counted]
        return with_plan(compose.undeclared_results(free, at_bench.work, unproven, at_bench.struck), covered)
    found = compose.results_of(
        replace(evidence, meter=meter),
        proof=case.proof(),
        suspects=bench.open_suspects(diagnosis),
        unproven=unproven,
        struck_out=at_bench.struck,
        planned=bool(covered),
    )
    found = replace(found, not_tested=(*found.not_tested, *_left_out(len(counted) - len(evidence.seen))))
    return with_plan(found, covered)


def _left_out(checks: int) -> Iterator[NotTested]:
    """Free readings from before the system was declared, or readings under another one: said, for they do not count."""
    if checks:
        why = _(
            "Not judged here: {count} checks made before this top system was declared for the car, or under another."
        )
        yield NotTested("whole", _("Earlier readings"), why.format(count=checks))


def _observed(row: Check) -> Observed:
    return Observed("electrical", row.position, "", _free(row), row.verdict, timezone.localtime(row.at), str(row.by))


def _free(row: Check) -> str:
    """What a reading without a declared system says; of any other check what the bench said of it."""
    try:
        return judge_free(FreeReading.model_validate(row.observation)).words
    except ValidationError:
        return row.words


def _item(car: Car, system: TopSystem | None) -> Item:
    odometer = car.odometer.order_by("read_on", "pk").last()
    return Item(
        vin=car.vin,
        maker=car.maker,
        model=car.model,
        made_on=car.made_on,
        system=system.system if system else "",
        system_title=system.title if system else "",
        system_revision=system.revision if system else None,
        odometer_km=odometer.km if odometer else None,
        odometer_on=odometer.read_on if odometer else None,
        year_only=car.year_only,
    )


def cautions_of(system: TopSystem | None) -> tuple[str, ...]:
    """All cautions of the system's positions, the gravest first, and who decides in the end."""
    codes = (
        {caution for position in system.positions.values() for caution in position.cautions} if system else {"pinch"}
    )
    local = _("These cautions warn; local rules and licensed practice decide who may do what.")
    return (*(caution_words(caution) for caution in ORDER if caution in codes), local)


def _statements() -> tuple[str, ...]:
    untranslated = _("Names that the top system declares and words that people have entered are not translated.")
    return (
        _("The results hold for this car only, and for its top as it was on the days of inspection."),
        _("This certificate may be copied only as a whole, unless the issuing shop has agreed in writing."),
        _(
            "It is no roadworthiness certificate and no statutory inspection, and it promises nothing about the "
            "future. Local rules and licensed inspection prevail."
        ),
        *([] if spoken() == ENGLISH else [untranslated]),
    )


def _client_information(job: Job, sheet: BenchSheet | None, system: TopSystem | None) -> tuple[str, ...]:
    """What the client said and nobody here has checked; it is marked as that."""
    said = []
    if job.complaint:
        said.append(_("Complaint, in the client’s words: {words}").format(words=job.complaint))
    if sheet is not None and sheet.complaint and system is not None:
        complaint = Complaint.model_validate(sheet.complaint)
        motion = system.motions[complaint.motion]
        step = next((one.title for one in motion.steps if one.name == complaint.stops_at), complaint.stops_at)
        said.append(_("{motion} was said to stop at: {step}.").format(motion=motion.title, step=step))
    if sheet is not None and sheet.recent_work:
        said.append(_("Earlier work was told of at: {positions}.").format(positions=", ".join(sheet.recent_work)))
    return tuple(said)


def _days(counted: Sequence[Check], covered: Sequence[Covered]) -> tuple[date, ...]:
    days = {timezone.localdate(check.at) for check in counted}
    return tuple(sorted(days | {timezone.localdate(row.at) for row in covered if row.at is not None}))


def _inspectors(users: Sequence[User]) -> tuple[Person, ...]:
    people = sorted({user.pk: user for user in users}.items())
    return tuple(person for person, _same in groupby(_person(user) for _pk, user in people))


def _person(user: User) -> Person:
    return Person(str(user), _(str(user.get_role_display())))
