"""Every address of every app, for every role: what it answers, and that it was asked on the server."""

import re
import uuid
from collections.abc import Callable, Iterator
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone
from pyotp import HOTP

from diagnostics.engine.system.revising import with_revision
from diagnostics.models import BenchSheet, Check, Enquiry, ProductionRange, SystemDraft, SystemRevision
from diagnostics.services import Contact, draft_keep, enquiry_send
from parts.models import Part
from parts.services import need_add, offer_set, order_line_add, supplier_set
from parts.services.plan import line_decide
from reports.batch.services import batch_ask
from reports.inspection.services import inspection_open, item_answer
from reports.models import Certificate
from shop import services
from shop.errors import Refused
from shop.models import Car, Job, Picture, Role, TrailEntry, User
from shop.runs import run_queue
from shop.second_factor import new_secret, step_at
from shop.services.clocks import clock_start
from shop.services.sessions import session_begin
from tests.diagnostics.bench import add, opened, publish
from tests.diagnostics.learned import keep_one_range
from tests.parts.planned import a_plan, needing
from tests.parts.shelving import shelf_keys
from tests.reports.commissioning import commissioned, taken_on
from tests.reports.measuring import calibration, instrument
from tests.reports.records.conftest import judged_import
from tests.shop.bays import a_booking, left_bay
from tests.shop.estimating import drafted, sent

pytestmark = pytest.mark.django_db

ALL = frozenset(Role.values)
BOOKS = ALL - {Role.PARTS}
CUSTOMERS = frozenset({Role.COUNTER, Role.OWNER})
BENCH = frozenset({Role.TECHNICIAN, Role.OWNER})
CATALOGUE = frozenset({Role.PARTS, Role.OWNER})
OWNER = frozenset({Role.OWNER})

# address by name, method, what is sent, who gets through
TABLE: list[tuple[str, str, dict[str, Any], frozenset[str]]] = [
    ("shop:floor", "get", {}, ALL),
    ("shop:cars", "get", {}, ALL),
    ("shop:car", "get", {}, ALL),
    ("shop:car-new", "get", {}, BOOKS),
    ("shop:car-new", "post", {"vin": "bad"}, BOOKS),
    ("shop:car-edit", "get", {}, BOOKS),
    ("shop:car-edit", "post", {"vin": "bad"}, BOOKS),
    ("shop:car-risks", "get", {}, ALL),
    ("shop:car-owner", "get", {}, BOOKS),
    ("shop:car-owner", "post", {"on": "x"}, BOOKS),
    ("shop:car-merge", "get", {}, CUSTOMERS),
    ("shop:car-merge", "post", {}, CUSTOMERS),
    ("shop:odometer-add", "post", {"km": "5", "read_on": "2020-01-01"}, BOOKS),
    ("shop:job-new", "get", {}, BOOKS),
    ("shop:job-new", "post", {"title": "Look"}, BOOKS),
    ("shop:customers", "get", {}, ALL),
    ("shop:customer", "get", {}, ALL),
    ("shop:customer-new", "get", {}, CUSTOMERS),
    ("shop:customer-new", "post", {"name": "Ben"}, CUSTOMERS),
    ("shop:customer-edit", "get", {}, CUSTOMERS),
    ("shop:customer-edit", "post", {"name": "Ben"}, CUSTOMERS),
    ("shop:job", "get", {}, ALL),
    ("shop:job-stage", "post", {"stage": "mending"}, BOOKS),
    ("shop:job-hold", "post", {"hold": "part"}, BOOKS),
    ("shop:job-note", "post", {"words": "Hello"}, ALL),
    ("shop:job-picture", "post", {}, ALL),
    ("shop:estimate-panel", "get", {}, ALL),
    ("shop:estimate-make", "post", {"from": "plan"}, CUSTOMERS),
    ("shop:estimate", "get", {}, ALL),
    ("shop:estimate-lines", "post", {"act": "keep", "words": "Seal"}, CUSTOMERS),
    ("shop:estimate-words", "post", {"title": "Estimate"}, CUSTOMERS),
    ("shop:estimate-send", "post", {"to": ""}, CUSTOMERS),
    ("shop:estimate-withdraw", "post", {}, CUSTOMERS),
    ("shop:estimate-next", "post", {}, CUSTOMERS),
    ("shop:estimate-answer", "post", {"name": "Ada"}, CUSTOMERS),
    ("shop:outlays", "get", {}, ALL),
    ("shop:outlays", "post", {"words": "Seal"}, ALL - {Role.TECHNICIAN}),
    ("shop:outlay-strike", "post", {}, ALL - {Role.TECHNICIAN}),
    ("shop:job-books", "get", {}, CUSTOMERS),
    ("shop:books", "get", {}, CUSTOMERS),
    ("shop:rates", "get", {}, frozenset({Role.OWNER})),
    ("shop:rates", "post", {"currency": "EUR"}, frozenset({Role.OWNER})),
    ("shop:picture", "get", {}, ALL),
    ("shop:picture-small", "get", {}, ALL),
    ("shop:picture-look", "get", {}, ALL),
    ("shop:picture-words", "post", {"caption": "Lid"}, ALL),
    ("shop:picture-pair", "post", {"other": "1"}, ALL),
    ("shop:picture-unpair", "post", {}, ALL),
    ("shop:car-pictures", "get", {}, ALL),
    ("shop:run", "get", {}, ALL),
    ("shop:run-cancel", "post", {}, CUSTOMERS),  # asked for by the counter
    ("shop:tour-dismiss", "post", {}, ALL),
    ("shop:sign-out", "post", {}, ALL),
    ("shop:account", "get", {}, ALL),
    ("shop:password", "get", {}, ALL),
    ("shop:password", "post", {"old_password": "no"}, ALL),
    ("shop:second-factor", "get", {}, ALL),
    ("shop:second-factor", "post", {"code": "1"}, ALL),
    ("shop:second-factor-act", "post", {"code": "1"}, ALL),
    ("shop:sessions-end-others", "post", {}, ALL),
    ("shop:session-end", "post", {}, OWNER),
    ("shop:people", "get", {}, OWNER),
    ("shop:invite", "post", {"name": "Ida", "email": "ida@x.example", "role": "counter"}, OWNER),
    ("shop:invitation-resend", "post", {}, OWNER),
    ("shop:invitation-revoke", "post", {}, OWNER),
    ("shop:person", "get", {}, OWNER),
    ("shop:person-role", "post", {"role": "parts"}, OWNER),
    ("shop:person-leave", "post", {}, OWNER),
    ("shop:person-return", "post", {}, OWNER),
    ("shop:person-factor-reset", "post", {}, OWNER),
    ("shop:floor-ready", "get", {}, ALL),
    ("shop:next-up", "get", {}, ALL),
    ("shop:job-plan", "get", {}, ALL),
    ("shop:job-ready", "get", {}, ALL),
    ("shop:task-add", "post", {"title": ""}, BOOKS),
    ("shop:plan-template", "post", {"template": "none"}, BOOKS),
    ("shop:task", "get", {}, BOOKS),
    ("shop:task", "post", {"title": ""}, BOOKS),
    ("shop:task-act", "post", {}, ALL),
    ("shop:clock", "get", {}, ALL),
    ("shop:clock", "post", {"why": ""}, ALL),
    ("shop:week", "get", {}, ALL),
    ("shop:booking-new", "post", {"hours": "x"}, BOOKS),
    ("shop:booking-undo", "post", {}, BOOKS),
    ("shop:booking", "get", {}, BOOKS),
    ("shop:booking", "post", {"hours": "x"}, BOOKS),
    ("shop:booking-drop", "post", {"seen": "0"}, BOOKS),
    ("shop:bays", "get", {}, OWNER),
    ("shop:bays", "post", {"name": "Pit"}, OWNER),
    ("shop:bay-rename", "post", {"name": "Pit"}, OWNER),
    ("shop:bay-give-up", "post", {}, OWNER),
    ("shop:bay-take-up", "post", {}, OWNER),
    ("shop:away", "get", {}, ALL),
    ("shop:away", "post", {"first_day": "x"}, ALL),
    ("shop:away-remove", "post", {}, OWNER),
    ("shop:calendars", "get", {}, ALL),
    ("shop:calendar-make", "post", {}, ALL),
    ("shop:calendar-revoke", "post", {}, OWNER),
    ("diagnostics:systems", "get", {}, ALL),
    ("diagnostics:system", "get", {}, ALL),
    ("diagnostics:system-rates", "get", {}, ALL),
    ("diagnostics:system-play", "get", {}, ALL),
    ("diagnostics:system-history", "get", {}, ALL),
    ("diagnostics:system-file", "get", {}, ALL),
    ("diagnostics:draft-new", "get", {}, BENCH),
    ("diagnostics:draft-new", "post", {"text": "system: rht-trio"}, BENCH),
    ("diagnostics:draft", "get", {}, BENCH),
    ("diagnostics:draft", "post", {"text": "system: rht-trio", "act": "keep", "seen": "1"}, BENCH),
    ("diagnostics:draft-play", "get", {}, BENCH),
    ("diagnostics:draft-publish", "post", {"note": "Why", "seen": "1"}, frozenset({Role.OWNER})),
    ("diagnostics:draft-drop", "post", {"seen": "1"}, BENCH),
    ("diagnostics:bench", "get", {}, ALL),
    ("diagnostics:bench", "post", {}, BENCH),
    ("diagnostics:job-panel", "get", {}, ALL),
    ("diagnostics:work-add", "post", {"position": "BG3", "kind": "adjust"}, BENCH),
    ("diagnostics:work-wrong", "get", {"position": "BG3", "kind": "replace"}, ALL),
    ("diagnostics:sheet", "get", {}, ALL),
    ("diagnostics:sheet-live", "get", {}, ALL),
    ("diagnostics:bench-list", "get", {}, ALL),
    ("diagnostics:next", "get", {}, ALL),
    ("diagnostics:sheet-fields", "get", {}, ALL),
    ("diagnostics:sheet-compare", "get", {}, ALL),
    ("diagnostics:sheet-drawings", "get", {}, ALL),
    ("diagnostics:sheet-times", "get", {}, ALL),
    ("diagnostics:sheet-pose", "post", {"pose": "open", "supply_volts": "12.5", "ignition": "on"}, BENCH),
    ("diagnostics:sheet-complaint", "post", {"stop": "close:raise-lid"}, BENCH),
    ("diagnostics:sheet-close", "post", {}, BENCH),
    ("diagnostics:check-add", "post", {"check": "battery", "volts": "12.6"}, BENCH),
    ("diagnostics:check-strike", "post", {"why": "wrong pin"}, BENCH),
    ("diagnostics:car-units", "get", {}, ALL),
    ("diagnostics:car-lives", "get", {}, ALL),
    ("diagnostics:car-ranges", "get", {}, ALL),
    ("diagnostics:car-positions", "get", {}, ALL),
    ("diagnostics:car-proof", "get", {}, ALL),
    ("diagnostics:car-outlook", "get", {}, ALL),
    ("diagnostics:enquiries", "get", {}, ALL),
    ("diagnostics:enquiries-waiting", "get", {}, ALL),
    ("diagnostics:enquiry-ask", "get", {"system": "rht-trio"}, BOOKS),
    ("diagnostics:enquiry-ask", "post", {"name": "Caller", "phone": "1", "words": "Stops"}, BOOKS),
    ("diagnostics:enquiry", "get", {}, ALL),
    ("diagnostics:enquiry-take", "post", {}, BOOKS),
    ("diagnostics:enquiry-close", "post", {}, BOOKS),
    ("diagnostics:enquiry-erase", "post", {}, frozenset({Role.OWNER})),
    ("reports:commissions", "get", {}, ALL),
    ("reports:commissions-waiting", "get", {}, ALL),
    ("reports:commission-one", "get", {}, ALL),
    ("reports:commission-take", "post", {"vin": "bad"}, BOOKS),
    ("reports:commission-appoint", "post", {"appointment_on": "bad"}, BOOKS),
    ("reports:commission-decline", "post", {"reason": "We do not know this top."}, BOOKS),
    ("reports:commission-link", "post", {"act": "revoke"}, BOOKS),
    ("reports:commission-erase", "post", {"sure": "yes"}, CUSTOMERS),
    ("reports:job-commission", "get", {}, ALL),
    ("reports:instruments", "get", {}, ALL),
    ("reports:instruments", "post", {"kind": "crowbar"}, BENCH),
    ("reports:instrument", "get", {}, ALL),
    ("reports:instrument", "post", {"name": ""}, BENCH),
    ("reports:instrument-calibrate", "post", {"calibrated_on": "x"}, BENCH),
    ("reports:instrument-retire", "post", {"reason": "fell down"}, BENCH),
    ("reports:instrument-return", "post", {}, BENCH),
    ("reports:calibration-strike", "post", {"reason": "wrong day"}, BENCH),
    ("reports:job-instruments", "get", {}, ALL),
    ("reports:instrument-choose", "post", {"instrument": "0"}, BENCH),
    ("reports:instrument-unchoose", "post", {"use": "0"}, BENCH),
    ("diagnostics:ranges", "get", {}, ALL),
    ("diagnostics:ranges", "post", {}, frozenset({Role.TECHNICIAN, Role.PARTS, Role.OWNER})),
    ("diagnostics:range", "get", {}, ALL),
    ("diagnostics:range", "post", {"act": "confirm", "note": "Why", "seen": "1"}, frozenset({Role.OWNER})),
    ("diagnostics:ranges-system", "get", {"mode": "stays-made", "position": "BG1"}, ALL),
    ("diagnostics:range-what-if", "get", {}, ALL),
    ("diagnostics:ranges-cars", "get", {"p": "BG1", "m": "stays-made", "f": "2001-01"}, ALL),
    ("diagnostics:ranges-file", "get", {"of": "ranges"}, ALL),
    ("parts:shelf", "get", {}, ALL),
    ("parts:options", "get", {}, ALL),
    ("parts:part-add", "post", {"number": "TW-ZZZ-0001", "name": "Clip"}, CATALOGUE),
    ("parts:fit-add", "post", {"part": "TW-BGA-3014", "system": "rht-trio", "position": "BG1"}, CATALOGUE),
    ("parts:part", "get", {}, ALL),
    ("parts:part-moves", "get", {}, ALL),
    ("parts:part-forecast", "get", {}, ALL),
    ("parts:part-cars", "get", {}, ALL),
    ("parts:part-act", "post", {"barcode": "1"}, CATALOGUE),
    ("parts:move-undo", "post", {}, CATALOGUE),
    ("parts:goods-in", "get", {}, CATALOGUE),
    ("parts:goods-in", "post", {"code": "none"}, CATALOGUE),
    ("parts:barcode", "get", {}, CATALOGUE),
    ("parts:barcode", "post", {"barcode": "1"}, CATALOGUE),
    ("parts:counts", "get", {}, CATALOGUE),
    ("parts:counts", "post", {}, CATALOGUE),
    ("parts:count", "get", {}, CATALOGUE),
    ("parts:count", "post", {"code": "none"}, CATALOGUE),
    ("parts:count-close", "post", {}, CATALOGUE),
    ("parts:count-strike", "post", {}, CATALOGUE),
    ("parts:labels", "get", {}, ALL),
    ("parts:lot", "get", {}, ALL),
    ("parts:lot", "post", {"why": "cracked"}, CATALOGUE),
    ("parts:suppliers", "get", {}, ALL),
    ("parts:suppliers", "post", {"name": ""}, CATALOGUE),
    ("parts:supplier", "get", {}, ALL),
    ("parts:supplier", "post", {"name": ""}, CATALOGUE),
    ("parts:part-offers", "get", {}, ALL),
    ("parts:part-offers", "post", {}, CATALOGUE),
    ("parts:offer-act", "post", {}, CATALOGUE),
    ("parts:orders", "get", {}, ALL),
    ("parts:orders-late", "get", {}, ALL),
    ("parts:order-add", "post", {"quantity": "0"}, CATALOGUE),
    ("parts:order", "get", {}, ALL),
    ("parts:order-paper", "get", {}, ALL),
    ("parts:order-table", "get", {}, ALL),
    ("parts:order-act", "post", {}, CATALOGUE),
    ("parts:order-line-act", "post", {}, CATALOGUE),
    ("parts:plan", "get", {}, ALL),
    ("parts:plan-anew", "post", {}, CATALOGUE),
    ("parts:plan-policy", "post", {"ready": "95"}, CATALOGUE),
    ("parts:plan-decide", "post", {"quantity": "0"}, CATALOGUE),
    ("parts:plan-reopen", "post", {}, CATALOGUE),
    ("parts:plan-accept", "post", {}, CATALOGUE),
    ("parts:job-needs", "get", {}, ALL),
    ("parts:job-needs-likely", "get", {}, ALL),
    ("parts:need-add", "post", {"part": "TW-BGA-3014", "quantity": "0"}, ALL),
    ("parts:need-act", "post", {}, ALL),
    ("reports:inspection", "get", {}, ALL),
    ("reports:inspection-panel", "get", {}, ALL),
    ("reports:inspection-open", "post", {}, BOOKS),
    ("reports:inspection-give-up", "post", {"why": "Only a repair"}, BOOKS),
    ("reports:inspection-answer", "post", {"key": "latches", "grade": "hold"}, BENCH),
    ("reports:inspection-skip", "post", {"key": "linkage", "why": "No time"}, BENCH),
    ("reports:inspection-strike", "post", {"why": "Wrong car"}, BENCH),
    ("reports:certificates", "get", {}, ALL),
    ("reports:certificate", "get", {}, ALL),
    ("reports:certificate-file", "get", {}, ALL),
    ("reports:certificate-withdraw", "post", {"reason": "r"}, OWNER),
    ("reports:job-panel", "get", {}, ALL),
    ("reports:car-panel", "get", {}, ALL),
    ("reports:car-findings", "get", {}, ALL),
    ("reports:issue", "post", {}, BENCH),
    ("reports:figures", "get", {}, OWNER),
    ("reports:figure", "get", {}, OWNER),
    ("reports:figure-jobs", "get", {"row": "all", "column": "jobs"}, OWNER),
    ("reports:figure-hits", "post", {}, OWNER),
    ("reports:comeback", "post", {}, BOOKS),
    ("reports:records", "get", {}, frozenset({Role.OWNER})),
    ("reports:records", "post", {}, frozenset({Role.OWNER})),
    ("reports:import", "get", {}, frozenset({Role.OWNER})),
    ("reports:import", "post", {"kind": "cars"}, frozenset({Role.OWNER})),
    ("reports:import-bring", "post", {}, frozenset({Role.OWNER})),
    ("reports:import-drop", "post", {}, frozenset({Role.OWNER})),
    ("reports:export-ask", "post", {}, frozenset({Role.OWNER})),
    ("reports:export-file", "get", {}, frozenset({Role.OWNER})),
    ("reports:car-take", "post", {}, frozenset({Role.OWNER})),
    ("reports:import-fates", "get", {}, frozenset({Role.OWNER})),
    ("reports:bench-list", "get", {}, ALL),
    ("reports:pin-card", "get", {}, ALL),
    ("reports:ranges-paper", "get", {}, ALL),
    ("reports:estimate-paper", "get", {}, CUSTOMERS),
    ("reports:batches", "get", {}, BENCH),
    ("reports:batches", "post", {}, BENCH),
    ("reports:batch", "get", {}, BENCH),
    ("reports:job-sheet", "get", {}, BOOKS),
    ("reports:work-report", "get", {}, BOOKS),
]

COUNTED = (TrailEntry, Check, BenchSheet, Part, Certificate, SystemRevision, SystemDraft)

# Found by nobody in this little shop: that somebody signed in gets as far as the answer is what counts.
NOT_FOUND = {
    "shop:picture",
    "shop:picture-small",
    "reports:export-file",
    "reports:certificate",
    "reports:certificate-file",
    "reports:certificate-withdraw",
}
# The interview of customers: nobody of them has a sign-in.
PUBLIC = ["diagnostics:tell", "diagnostics:tell-about", "diagnostics:tell-send", "diagnostics:tell-sent"]
PUBLIC += ["shop:estimate-public", "reports:estimate-paper-public"]  # behind a private link
PUBLIC += ["reports:check", "reports:check-schema"]  # whoever holds a certificate
PUBLIC += ["reports:commission", "reports:commission-follow"]  # an outside buyer, the latter by a private link
PRIVATE_LINKS = {"shop:calendar"}
# Before somebody has signed in.
OPEN_TO_ALL = {"shop:sign-in", "shop:sign-in-code", "shop:forgotten", "shop:new-password", "shop:join", *PUBLIC}
OPEN_TO_ALL |= PRIVATE_LINKS
OPEN_TO_ALL |= {"reports:commission-file", "reports:commission-withdraw"}  # tests/reports/test_commission.py
OPEN_TO_ALL |= {"reports:check-number", "reports:check-root"}  # need an issued one: tests/reports/test_checking.py


@pytest.fixture
def address(car: Car, job: Job, counter: User, tech: User, owner: User) -> Callable[[str], str]:
    """The address behind a name, with things of the cast in the place of its arguments."""
    text = with_revision(publish(owner).text, 3).replace("pull_up_ohm: 1000", "pull_up_ohm: 2200")
    draft_keep(slug="rht-trio", text=text, seen=0, by=tech)
    sheet = opened(job, tech)
    check = add(sheet, tech, check="battery", volts=12.6)
    Part.objects.create(number="TW-BGA-3014", name="Switch")
    need = need_add(job=job, part=Part.objects.get(), by=tech)
    switch = Part.objects.get()
    supplier = supplier_set(by=owner, name="Canvas and Bow")
    offer = offer_set(part=switch, supplier=supplier, by=owner)
    ordered = order_line_add(supplier=supplier, part=switch, by=owner, quantity=1)
    left_out = line_decide(line=a_plan((switch, 2)).lines.get(), by=owner, quantity=0, why="not now")
    shelf_plan = a_plan((switch, 1), cars=[needing(car)])
    run = run_queue(kind="certificate", title="Certificate", by=counter, job=job)
    brought = judged_import(owner).pk
    batch = batch_ask(jobs=[job.pk], key=uuid4(), by=tech)
    enquiry = enquiry_send(revision=None, answers={}, contact=Contact(name="Ada", phone="1", words="Stops."))
    commission, followed_by = commissioned()
    to_buy = Car.objects.create(vin="0TWAH5903RT000007", maker="Halden", model="Brise", made_on=car.made_on)
    inspecting = services.job_open(car=to_buy, by=counter, title="Inspection")
    appointed, _token = taken_on(inspecting, model="Other", seller_phone="1", seller_consent_by="Ben")
    inspection = inspection_open(job=job, by=tech)
    answered = item_answer(inspection=inspection, by=tech, key="gaps", grade="even", entry_id=uuid.uuid4())
    meter = instrument(owner)
    calibrated = calibration(meter, owner).pk
    invitation, _token = services.invitation_make(by=owner, name="Ben", email="ben@x.example", role="parts")
    left = User.objects.create_user("left", is_active=False)
    services.second_factor_set_up(
        user=tech, secret=(secret := new_secret()), code=HOTP(secret).at(step_at(timezone.now()))
    )
    signed_in = session_begin(user=owner, session_key="elsewhere", agent="", address=None)
    picture = Picture.objects.create(job=job, by=tech, file="x.jpg", width=1, height=1, at=timezone.now()).pk
    draft, (offered, link) = drafted(job, counter), sent(job, counter)
    outlay = services.outlay_add(
        job=job, by=counter, kind="part", words="Seal", quantity=Decimal(1), unit="piece", unit_price=Decimal(1),
        tax_percent=Decimal(20),
    )  # fmt: skip
    booked = a_booking(job)
    away = services.away_add(person=owner, first_day=timezone.localdate(), last_day=timezone.localdate(), by=owner)
    feed, _token = services.feed_make(by=owner)
    clock = clock_start(task=booked.task, by=tech) or booked.task.clocks.get()
    keys: dict[str, Any] = {
        "job-plan": job.pk, "job-ready": job.pk, "task-add": job.pk, "plan-template": job.pk, "task": booked.task_id,
        "task-act": (booked.task_id, "start"), "clock": clock.pk,
        "booking": booked.pk, "booking-drop": booked.pk, "bay-rename": booked.bay_id, "bay-give-up": left_bay().pk,
        "bay-take-up": left_bay(active=False).pk, "away-remove": away.pk, "calendar-revoke": feed.pk,
        "job-needs": job.pk, "job-needs-likely": job.pk, "need-add": job.pk, "need-act": (need.pk, "drop"),
        "supplier": supplier.pk, "part-offers": switch.pk, "offer-act": (offer.pk, "prefer"),
        "order": ordered.order_id, "order-paper": ordered.order_id, "order-table": ordered.order_id,
        "order-act": (ordered.order_id, "confirm"), "order-line-act": (ordered.pk, "change"),
        **shelf_keys(owner, switch), "part-forecast": switch.pk, "part-cars": switch.pk,
        "plan-decide": shelf_plan.lines.get().pk, "plan-reopen": left_out.pk, "plan-accept": shelf_plan.pk,
        "estimate": draft.pk, "estimate-lines": draft.pk, "estimate-words": draft.pk, "estimate-send": draft.pk,
        "estimate-withdraw": offered.pk, "estimate-next": offered.pk, "estimate-answer": offered.pk,
        "estimate-public": link, "outlay-strike": outlay.pk,
        "batch": batch.pk,
        "job-sheet": job.pk, "work-report": job.pk, "estimate-paper": offered.pk, "estimate-paper-public": link,
        "estimate-panel": job.pk, "estimate-make": job.pk, "outlays": job.pk, "job-books": job.pk,
        "session-end": signed_in.pk, "invitation-resend": invitation.pk, "invitation-revoke": invitation.pk,
        "person": tech.pk, "person-role": tech.pk, "person-leave": tech.pk, "person-return": left.pk,
        "person-factor-reset": tech.pk,
        "enquiry": enquiry.pk, "enquiry-take": enquiry.pk, "enquiry-close": enquiry.pk, "enquiry-erase": enquiry.pk,
        **dict.fromkeys(("inspection", "inspection-panel", "inspection-open", "inspection-give-up"), job.pk),
        "inspection-answer": job.pk, "inspection-skip": job.pk, "inspection-strike": answered.pk,
        "commission-one": commission.pk, "commission-take": commission.pk, "commission-decline": commission.pk,
        "commission-link": commission.pk, "commission-erase": commission.pk, "commission-follow": followed_by,
        "commission-appoint": appointed.pk, "job-commission": inspecting.pk,
        "instrument": meter.pk, "instrument-calibrate": meter.pk, "instrument-retire": meter.pk,
        "instrument-return": meter.pk, "calibration-strike": calibrated, "job-instruments": job.pk,
        "instrument-choose": job.pk, "instrument-unchoose": job.pk,
        "system-play": "rht-trio", "system-history": "rht-trio", "system-file": "rht-trio", "draft": "rht-trio",
        "draft-play": "rht-trio", "draft-publish": "rht-trio", "draft-drop": "rht-trio",
        "tell-about": "rht-trio", "tell-sent": enquiry.code,
        "car": car.pk, "car-edit": car.pk, "car-merge": car.pk, "car-owner": car.pk, "car-pictures": car.pk,
        "car-risks": car.pk, "car-findings": car.pk,
        "picture-look": picture, "picture-words": picture, "picture-pair": picture, "picture-unpair": picture,
        "car-positions": car.pk, "car-lives": car.pk, "car-ranges": car.pk, "odometer-add": car.pk, "job-new": car.pk,
        "customer": car.owner_id, "customer-edit": car.owner_id, "picture": 9999, "picture-small": 9999,
        "run": run.pk, "run-cancel": run.pk,
        "system": "rht-trio", "system-rates": "rht-trio", "car-units": car.pk, "car-proof": car.pk, "car-panel": car.pk,
        "car-outlook": car.pk,
        "certificate": "TW-2026-XXXXXXXX-X", "certificate-file": "TW-2026-XXXXXXXX-X",
        "certificate-withdraw": "TW-2026-XXXXXXXX-X",
        "check-strike": check.pk, "sheet-fields": sheet.pk, "sheet-compare": sheet.pk, "next": sheet.pk,
        "sheet-drawings": sheet.pk, "sheet-times": sheet.pk, "bench-list": sheet.pk, "pin-card": "rht-trio",
        "import": brought, "import-bring": brought, "import-drop": brought, "import-fates": brought,
        "export-file": run.pk, "car-take": car.pk, "figure": "stages", "figure-jobs": "throughput", "comeback": job.pk,
        "range": (a_range := keep_one_range().pk), "range-what-if": a_range,
        "ranges-system": "rht-trio", "ranges-cars": "rht-trio",
        "ranges-file": "rht-trio", "ranges-paper": "rht-trio",
        "sheet": sheet.pk, "sheet-live": sheet.pk,
        "sheet-pose": sheet.pk, "sheet-complaint": sheet.pk, "sheet-close": sheet.pk, "check-add": sheet.pk,
        "job": job.pk, "job-stage": job.pk, "job-hold": job.pk, "job-note": job.pk, "job-picture": job.pk,
        "bench": job.pk, "job-panel": job.pk, "work-add": job.pk, "work-wrong": job.pk, "issue": job.pk,
    }  # fmt: skip

    def address_of(name: str) -> str:
        key = keys.get(name.partition(":")[2])
        return reverse(name, args=[] if key is None else key if isinstance(key, tuple) else [key])

    return address_of


def _names(patterns: list[URLPattern | URLResolver], space: str = "") -> Iterator[str]:
    for pattern in patterns:
        if isinstance(pattern, URLResolver):
            yield from _names(pattern.url_patterns, f"{pattern.namespace}:" if pattern.namespace else space)
        else:
            assert pattern.name, f"{pattern} has no name"
            yield f"{space}{pattern.name}"


def test_the_table_has_every_address() -> None:
    assert set(_names(get_resolver().url_patterns)) - OPEN_TO_ALL == {name for name, *_rest in TABLE}


@pytest.mark.parametrize("role", [*Role.values, "nobody"])
@pytest.mark.parametrize(("name", "method", "data", "who"), TABLE, ids=[f"{row[1]} {row[0]}" for row in TABLE])
def test_who_gets_through(
    client_as: Callable[[str], Client],
    address: Callable[[str], str],
    role: str,
    name: str,
    method: str,
    data: dict[str, Any],
    who: frozenset[str],
) -> None:
    at = address(name)
    if (name, method) == ("diagnostics:bench", "post"):  # everybody may go to a sheet that is open, to read
        BenchSheet.objects.update(closed_at=timezone.now())
    before = _written()
    answer = getattr(client_as(role), method)(at, data)
    if role == "nobody":
        assert answer.status_code == 302
        assert name == "shop:sign-out" or answer["Location"].startswith("/sign-in/?next=")
    elif role in who:
        assert answer.status_code in (200, 302, 422) or (name in NOT_FOUND and answer.status_code == 404)
    else:
        assert answer.status_code == 403
        assert "Your role does not allow this. Ask the owner of the shop." in answer.content.decode()
    if role not in who:
        assert _written() == before


def _written() -> list[Any]:
    """What a write that got through would have changed."""
    counts = [
        model.objects.count()
        for model in (TrailEntry, Check, BenchSheet, Part, Certificate, SystemRevision, SystemDraft)
    ]
    told = [*Enquiry.objects.values_list("state", "erased_at"), *ProductionRange.objects.values_list("state")]
    return [*counts, told, list(Check.objects.values_list("struck_at")), list(BenchSheet.objects.values_list("pose"))]


@pytest.mark.parametrize("name", [row[0] for row in TABLE if row[1] == "post"])
def test_a_link_cannot_write(client_as: Callable[[str], Client], address: Callable[[str], str], name: str) -> None:
    """Reading an address that also writes gives its form, the way back, or nothing; it never writes."""
    at, before = address(name), _written()
    assert client_as("owner").get(at).status_code in (200, 302, 405)
    assert _written() == before


@pytest.mark.parametrize("name", PUBLIC)
@pytest.mark.parametrize("role", ["nobody", Role.COUNTER.value])
def test_what_the_public_sees_needs_no_sign_in_is_light_and_asks_little(
    client_as: Callable[[str], Client], address: Callable[[str], str], name: str, role: str
) -> None:
    at, client = address(name), client_as(role)
    client.get(at)
    with CaptureQueriesContext(connection) as queries:
        answer = client.get(at)
    assert answer.status_code == 200
    assert len(queries) < 12, [query["sql"] for query in queries]
    assert len(answer.content) < 150_000


def test_pages_offer_only_what_the_server_accepts(client_as: Callable[[str], Client], job: Job) -> None:
    page = client_as("parts").get(job.get_absolute_url()).content.decode()
    assert "/stage/" not in page
    assert "/notes/" in page
    page = client_as("technician").get(job.get_absolute_url()).content.decode()
    assert "/stage/" in page


def test_somebody_who_left_the_shop_may_nothing(tech: User, job: Job) -> None:
    tech.is_active = False
    tech.save()
    with pytest.raises(Refused):
        services.note_add(job=job, by=tech, words="x")


@pytest.mark.parametrize("name", [row[0] for row in TABLE if row[1] == "get"])
def test_every_page_is_light_and_asks_little(
    client_as: Callable[[str], Client], address: Callable[[str], str], name: str
) -> None:
    """Under 150 kB and under 12 queries for whoever sees most; that they do not grow with the rows is tested by app."""
    at, client = address(name), client_as("owner")
    client.get(at)  # what is read once a process is none of the page's
    with CaptureQueriesContext(connection) as queries:
        answer = client.get(at)
    assert len(queries) < 12, [query["sql"] for query in queries]
    assert len(answer.content) < 150_000


def test_every_page_has_a_title_of_its_own(client_as: Callable[[str], Client], address: Callable[[str], str]) -> None:
    client = client_as("owner")
    titles: dict[str, str] = {}
    for name in sorted({row[0] for row in TABLE if row[1] == "get"} - NOT_FOUND):
        answer = client.get(address(name))
        if answer["Content-Type"] in ("application/pdf", "application/yaml"):
            continue
        page = answer.content.decode()
        found = re.search(r"<title>(.*?) · Topwright</title>", page, re.DOTALL)
        if "<html" in page:
            assert found, name
            assert found[1].strip(), name
            assert found[1] not in titles, f"{name} and {titles[found[1]]}: {found[1]}"
            titles[found[1]] = name
