"""The main pages, on a phone and on a desk, light and dark: nothing runs off, everything has a name, can be hit with a
thumb and reached with the keyboard, and nothing fails on the console."""

import io
import uuid
from datetime import timedelta
from decimal import Decimal
from typing import Any
from urllib.parse import urlencode
from uuid import uuid4

import pytest
from django.urls import reverse
from django.utils import timezone
from PIL import Image
from playwright.sync_api import Browser, Page

from diagnostics import services as bench
from diagnostics.models import BenchSheet
from parts import services as shelf
from parts.models import Fit, Order, OrderLine, Part
from reports.batch.services import batch_ask
from reports.inspection import services as inspect
from reports.instruments import services as instruments
from reports.models import Certificate, InspectionAnswer, Instrument
from shop import services
from shop.models import Car, Job, ShopProfile, Stage, User
from tests.conftest import PASSWORD
from tests.diagnostics.bench import add, opened, publish
from tests.diagnostics.learned import keep_one_range
from tests.parts.planned import a_plan, needing
from tests.parts.shelving import shelf_keys
from tests.reports.commissioning import commissioned, taken_on
from tests.reports.measuring import calibration, instrument
from tests.reports.records.conftest import judged_import
from tests.reports.test_services import ask_and_issue
from tests.shop.bays import a_booking, a_task
from tests.shop.estimating import drafted, sent

pytestmark = pytest.mark.django_db(transaction=True)

SIZES = {"phone": (390, 844), "desk": (1440, 900)}

# Sentences, one for each thing that is not as it should be.
FAULTS = """() => {
  const out = [];
  const seen = (e) => e.checkVisibility({ visibilityProperty: true }) && !e.closest('.visually-hidden, .skip');
  const short = (e) => e.outerHTML.slice(0, 110);
  const wide = document.documentElement.scrollWidth;
  if (wide > innerWidth) out.push(`runs off: ${wide} px`);
  const ids = [...document.querySelectorAll('[id]')].map((e) => e.id);
  out.push(...new Set(ids.filter((id, at) => ids.indexOf(id) !== at).map((id) => `id twice: ${id}`)));
  let last = 0;
  for (const h of document.querySelectorAll('h1, h2, h3, h4, h5, h6')) {
    const level = Number(h.tagName[1]);
    if (h.checkVisibility() && level > last + 1) out.push(`heading h${level} after h${last}: ${h.textContent.trim()}`);
    if (h.checkVisibility()) last = level;
  }
  if (document.querySelectorAll('h1').length !== 1) out.push('not one h1');
  for (const e of document.querySelectorAll('input:not([type=hidden]), select, textarea, button')) {
    const label = [...(e.labels || [])].map((one) => one.textContent).join(' ') || e.getAttribute('aria-label') || '';
    if (!(label + (e.tagName === 'BUTTON' ? e.textContent : '')).trim()) out.push(`no name: ${short(e)}`);
  }
  for (const e of document.querySelectorAll('a[href], button, input:not([type=hidden]), select, textarea, summary')) {
    if (e.matches('.r-proposed, .r-confirmed')) continue;  // a bar over the cells: its card has the same link
    if (!seen(e) || (e.tagName === 'A' && getComputedStyle(e).display === 'inline')) continue;  // a link in a text
    const box = (e.matches('[type=checkbox], [type=radio]') && e.closest('label') || e).getBoundingClientRect();
    if (box.height < 43.5) out.push(`${Math.round(box.height)} px high: ${short(e)}`);
  }
  for (const e of document.querySelectorAll('.tag'))
    if (e.checkVisibility() && e.clientHeight > 34) out.push(`tag in two lines: ${e.textContent}`);
  return out;
}"""

# All that is folded, the inner ones after the outer ones that hide them.
UNFOLD = """() => {
  for (const e of document.querySelectorAll('main details:not([open])'))
    if (e.checkVisibility()) e.querySelector('summary').click();
}"""

# Where the keyboard goes must be seen: an outline, on everything that Tab reaches.
UNSEEN = """() => {
  const e = document.activeElement, style = getComputedStyle(e);
  if (e === document.body) return null;
  const box = e.getBoundingClientRect();
  const shown = style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2 && box.width > 0 && box.height > 0;
  return shown ? '' : e.outerHTML.slice(0, 110);
}"""


def _inspection(job: Job, tech: User, owner: User) -> str:
    """With an item in each state, and an answer that was struck out."""
    row = inspect.inspection_open(job=job, by=tech)

    def say(key: str, grade: str, words: str) -> InspectionAnswer:
        return inspect.item_answer(inspection=row, by=tech, key=key, grade=grade, words=words, entry_id=uuid.uuid4())

    inspect.answer_strike(answer=say("latches", "hold", ""), by=owner, why="Another car stood in the next bay")
    say("seals", "water", "Long words " * 25)
    say("gaps", "even", "")
    inspect.items_skip(inspection=row, by=tech, keys=("linkage",), why="No stand free", entry_id=uuid.uuid4())
    return row.get_absolute_url()


@pytest.fixture
def pages(car: Car, job: Job, tech: User, owner: User, counter: User, parts_user: User) -> dict[str, str]:
    """The main pages, with something on each."""
    ShopProfile.objects.create(pk=1, name="Verdeckwerk Halden", address="Gerberstraße 14\n40999 Halden")
    invited = services.invitation_make(by=owner, name="Ida Holt", email="i" * 40 + "@post.example", role="counter")
    long = services.customer_create(
        by=counter, name="Bartholomew Quillfeather-Ashgrove", email="b" * 40 + "@post.example"
    )
    services.car_create(
        by=counter, vin="0TWAH5903RT000002", maker="Halden", model="Brise Grand Tourer", made_on=car.made_on, owner=long
    )
    published = publish(owner)
    sheet = _worked_on(job, tech)
    free = _undeclared(Car.objects.latest("pk"), counter, tech)
    made: Certificate = ask_and_issue(job, tech)
    fitting = Part.objects.create(number="TW-BGB-3121", name="Lid switch with lead and plug")
    Fit.objects.create(part=fitting, system="rht-trio", position="BG3")
    changed = published.text.replace("revision: 2", "revision: 3").replace("pull_up_ohm: 1000", "pull_up_ohm: 2200")
    bench.draft_keep(slug="rht-trio", text=changed, seen=0, by=tech)
    bench.draft_keep(slug="softbow-hydro", text="system: softbow-hydro\nkind: " + "x" * 300, seen=0, by=owner)
    answers = {"fails": "close", "stops": "raise-lid", "hand": "as-it-should", "lamp": "off", "sound": "runs"}
    sender = bench.Contact(name=long.name, email=long.email, words="x " * 99)
    told = bench.enquiry_send(revision=sheet.revision, answers=answers, contact=sender)
    return {
        "floor": "/",
        "cars ready by": "/floor/ready/",
        "what to do next": "/floor/next/",
        "work plan": f"/jobs/{job.pk}/plan/",
        "ready by": f"/jobs/{job.pk}/plan/ready/",
        "task": f"/tasks/{a_task(job).pk}/",
        "week": f"/floor/week/?day={timezone.localdate():%Y-%m-%d}",
        "day by person": f"/floor/week/?day={timezone.localdate():%Y-%m-%d}&by=people&span=day",
        "booking": f"/floor/bookings/{a_booking(job).pk}/",
        "bays": "/floor/bays/",
        "away": "/floor/away/",
        "calendar links": "/calendar/",
        "cars": "/cars/",
        "take in": "/cars/new/",
        "car file": car.get_absolute_url(),
        "next owner": f"{car.get_absolute_url()}owner/",
        "picture": f"/pictures/{_pictures(job, tech)}/look/",
        "film": f"{car.get_absolute_url()}pictures/",
        "open risks": f"{car.get_absolute_url()}risks/",
        "open findings": f"{car.get_absolute_url()}findings/",
        "lives": f"{car.get_absolute_url()}lives/",
        "ranges of a car": f"{car.get_absolute_url()}ranges/",
        "written down twice": f"{car.get_absolute_url()}merge/?q=halden",
        "put together": f"{car.get_absolute_url()}merge/?double={car.pk + 1}",
        "customers": "/customers/",
        "job": job.get_absolute_url(),
        "what the job needs": f"{_needs(job, tech, parts_user)}needs/",
        "parts of the suspects": f"{job.get_absolute_url()}needs/likely/",
        "estimate draft": (draft := drafted(job, counter)).get_absolute_url(),
        "line of an estimate": f"{draft.get_absolute_url()}?line={draft.lines.all()[0].pk}",
        "estimate sent": (offer := sent(job, counter))[0].get_absolute_url(),
        "estimate, as the customer sees it": f"/e/{offer[1]}/",
        "estimates of the job": f"{job.get_absolute_url()}estimates/",
        "outlays": f"{job.get_absolute_url()}outlays/",
        "bookkeeping": "/books/",
        "rates and hours": "/shop/",
        "bench sheet": sheet.get_absolute_url(),
        "step times": f"{sheet.get_absolute_url()}times/",
        "connector": f"{sheet.get_absolute_url()}drawings/",
        "motion diagrams": f"{sheet.get_absolute_url()}drawings/?tab=motion",
        "top in its pose": f"{sheet.get_absolute_url()}drawings/?tab=top",
        "all entries": f"{sheet.get_absolute_url()}?entries=all",
        "compare sheets": f"{sheet.get_absolute_url()}compare/",
        "undeclared sheet": free.get_absolute_url(),
        "inspection by plan": _inspection(job, tech, owner),
        "inspection, what is open": f"{job.get_absolute_url()}inspection/?only=open",
        "job that inspects nothing": f"{free.job.get_absolute_url()}inspection/",
        "certificates": "/certificates/",
        "certificate": made.get_absolute_url(),
        "certificates to issue": f"/certificates/batch/?job={job.pk}",
        "a batch of certificates": batch_ask(jobs=[job.pk, made.job_id], key=uuid4(), by=tech).get_absolute_url(),
        "records": "/records/",
        "a table of old records": judged_import(owner).get_absolute_url(),
        "shelf": "/shelf/",
        **_shelf(car, owner),
        "figures": "/figures/",
        "where jobs stand": "/figures/stages/",
        "comebacks": "/figures/comebacks/",
        "jobs behind a number": "/figures/stages/jobs/?row=all&column=s-here",
        "ranges": "/ranges/",
        "ranges of a system": "/ranges/rht-trio/?mode=stays-made&position=BG1",
        "production range": (a_range := keep_one_range().get_absolute_url()),
        "what more cars would teach": f"{a_range}what-if/",
        "outlook": f"{car.get_absolute_url()}outlook/",
        "cars behind a number": "/ranges/rht-trio/cars/?p=BG3",
        "systems": "/systems/",
        "enquiries": "/enquiries/",
        "enquiry": f"{told.get_absolute_url()}?q=tw14k",
        "ask a caller": "/enquiries/ask/?system=rht-trio&stop=close:raise-lid",
        "tell": "/tell/",
        "tell, how far": "/tell/about/rht-trio/?fails=close",
        "tell, result": "/tell/about/rht-trio/?" + urlencode(answers | {"battery": "no"}),
        "tell in words": "/tell/send/",
        "told": f"/tell/sent/{told.code}/",
        "instruments": "/instruments/",
        "instrument": _meter(job, tech).get_absolute_url(),
        "instruments of the job": f"{job.get_absolute_url()}instruments/",
        "retired instrument": _retired(job, tech).get_absolute_url(),
        "commission": "/commission/",
        "commissions": "/commissions/",
        "commission at the counter": (asked := commissioned(name=long.name, place="Quay " * 30))[0].get_absolute_url(),
        "commission, as the buyer sees it": f"/c/{asked[1]}/",
        "commission whose appointment can be moved": taken_on(
            job, model="Other", name=long.name, place="Quay " * 30, seller_phone="1" * 40, seller_consent_by=long.name
        )[0].get_absolute_url(),
        "commission of the job": f"{job.get_absolute_url()}commission/",
        "system": "/systems/rht-trio/",
        "rates": "/systems/rht-trio/rates/",
        "played": "/systems/rht-trio/play/?motion=close&step=99&fault=BG4:never-makes",
        "revisions": "/systems/rht-trio/revisions/",
        "new system": "/system-drafts/new/",
        "draft": "/systems/rht-trio/draft/",
        "draft with mistakes": "/systems/softbow-hydro/draft/",
        "people": "/people/",
        "person": f"/people/{tech.pk}/",
        "my account": "/account/",
        "change the password": "/account/password/",
        "set up the second factor": "/account/second-factor/",
        "password forgotten": "/sign-in/forgotten/",
        "join": f"/join/{invited[1]}/",
        "check a certificate": "/check/",
        "certificate, as a stranger sees it": f"/check/{made.number}/",
        "a number that is none": "/check/TW-2026-1/",
        "not here": "/nowhere/",
    }


def _worked_on(job: Job, tech: User) -> BenchSheet:
    sheet = opened(job, tech)
    bench.sheet_set_complaint(
        sheet=sheet, by=tech, complaint={"motion": "close", "stops_at": "raise-stack", "lamp": None}
    )
    for n in range(1, 12):
        add(sheet, tech, check="pin", position=f"BG{n}", volts=0.1)
    add(sheet, tech, check="look", position="BG3", found="green crust at the plug of the lid switch, cleaned")
    bench.work_add(job=job, by=tech, position="BG3", kind="replace", part="TW-BGB-3121", serial="S1")
    services.note_add(job=job, by=tech, words="Props are in the boot.")
    return sheet


def _needs(job: Job, tech: User, parts_user: User) -> str:
    """A part of each state; the address of the job."""
    seal, oil = (shelf.part_add(by=parts_user, number=f"TW-SEA-000{n}", name="Seal " + "x" * 60) for n in (1, 2))
    shelf.goods_in(part=seal, by=parts_user, quantity=2)
    shelf.need_add(job=job, part=seal, by=tech, quantity=2)
    shelf.need_add(job=job, part=oil, by=tech, why="the roof leaks at the front")
    shelf.need_drop(need=shelf.need_add(job=job, part=seal, by=tech, position="BG3"), by=tech)
    shelf.part_issue(part=seal, job=job, by=tech)
    return job.get_absolute_url()


def _meter(job: Job, tech: User) -> Instrument:
    """A meter with a long name that was used on the job, with a struck, an expired and a valid calibration; others."""
    made = instrument(tech, name="Bench meter of the high door bay, the one in the leather", serial="L" * 40)
    instruments.calibration_strike(calibration=calibration(made, tech, ago=900), reason="wrong " * 40, by=tech)
    calibration(made, tech, ago=700, expanded_volts=Decimal("0.004"), number="K" * 60, laboratory="L" * 120)
    calibration(made, tech, ago=350)
    calibration(instrument(tech, name="Bench meter 2", serial="S-2"), tech, ago=500)
    for number in range(3, 8):
        instrument(tech, kind="stopwatch", name=f"Watch {number}", serial=f"S-{number}")
    instruments.instrument_choose(job=job, instrument=made, by=tech)
    return made


def _retired(job: Job, tech: User) -> Instrument:
    gauge = instrument(tech, kind="pressure-gauge", name="Gauge", serial="G-1")
    instruments.instrument_choose(job=job, instrument=gauge, by=tech)
    return instruments.instrument_retire(instrument=gauge, reason="hose burst " * 20, by=tech)


def _shelf(car: Car, owner: User) -> dict[str, str]:
    """A part with a plan, an order that is late, one that is a draft, a batch, a count."""
    switch = shelf.part_add(by=owner, number="TW-BGB-7001", name="Lid switch " + "with lead " * 5)
    supplier = shelf.supplier_set(by=owner, name="Quillfeather-Ashgrove Canvas and Bow Works", lead_days=9)
    shelf.offer_set(part=switch, supplier=supplier, by=owner, price=Decimal("31.50"), pack=2)
    late = shelf.order_line_add(supplier=supplier, part=switch, by=owner, quantity=4)
    shelf.order_send(order=late.order, by=owner)
    Order.objects.filter(pk=late.order_id).update(expected_on=timezone.localdate() - timedelta(days=1))
    shelf.order_line_add(supplier=supplier, part=switch, by=owner, quantity=2, why="the plan says so " * 6)
    keys = shelf_keys(owner, switch)
    a_plan((switch, 2), cars=[needing(car), needing(car, position="BG4", made="2009")])
    moves, number = keys["part-moves"], switch.number
    return {
        "part": f"/shelf/{number}/",
        "part with a batch": "/shelf/TW-SEA-0099/",
        "movements of a part": f"/parts/{moves}/movements/",
        "forecast of a part": f"/parts/{switch.pk}/forecast/",
        "cars that need a part": f"/parts/{switch.pk}/cars/",
        "goods in": "/shelf/goods-in/",
        "goods in, a part": f"/shelf/goods-in/?code={number}",
        "goods in, unknown": "/shelf/goods-in/?code=4006381333931",
        "barcode": "/shelf/barcode/?barcode=4006381333931",
        "counts": "/shelf/counts/",
        "count": f"/shelf/counts/{keys['count']}/",
        "labels": f"/shelf/labels/?part={number}",
        "batch": f"/batches/{keys['lot']}/",
        "suppliers": "/suppliers/",
        "supplier": f"/suppliers/{supplier.pk}/",
        "offers of a part": reverse("parts:part-offers", args=[switch.pk]),
        "orders": reverse("parts:orders"),
        "late orders": reverse("parts:orders-late"),
        "order sent": reverse("parts:order", args=[late.order_id]),
        "order draft": reverse("parts:order", args=[OrderLine.objects.latest("pk").order_id]),
        "shelf plan": "/shelf/plan/",
    }


def _pictures(job: Job, tech: User) -> int:
    """A pair, and one to pair: the key of the latter."""
    sent = []
    for colour in ("#8a3d0c", "#14603a", "#1c4d83"):
        out = io.BytesIO()
        Image.new("RGB", (400, 300), colour).save(out, "JPEG")
        out.seek(0)
        sent.append(services.picture_add(job=job, by=tech, upload=out, caption=f"Lid switch, {colour}", position="BG3"))
    services.picture_pair(before=sent[0], after=sent[1], by=tech)
    return sent[2].pk


def _undeclared(car: Car, counter: User, tech: User) -> BenchSheet:
    job = services.job_open(car=car, by=counter, title="Stops", stage=Stage.HERE)
    return opened(job, tech)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", SIZES)
def test_nothing_is_wrong_with_any_page(
    browser: Browser, live_server: Any, pages: dict[str, str], size: str, scheme: Any
) -> None:
    width, height = SIZES[size]
    context = browser.new_context(
        base_url=live_server.url, color_scheme=scheme, viewport={"width": width, "height": height}
    )
    page, said = context.new_page(), []
    page.on("console", lambda message: said.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: said.append(str(error)))
    wrong: dict[str, list[str]] = {}

    def look(name: str) -> None:
        page.wait_for_timeout(300)  # fragments that load by themselves
        found = page.evaluate(FAULTS) + [line for line in said if "404" not in line]
        if found:
            wrong[name] = found
        said.clear()

    page.goto("/sign-in/")
    look("sign-in")
    _sign_in(page)
    for name, address in pages.items():
        page.goto(address)
        look(name)
        page.evaluate(UNFOLD)
        look(f"{name}, unfolded")
    context.close()
    assert wrong == {}


def test_where_the_keyboard_stands_is_seen(page: Page, live_server: Any, pages: dict[str, str]) -> None:
    page.goto(f"{live_server.url}/sign-in/")
    _sign_in(page)
    for name in ("floor", "job", "bench sheet", "shelf"):
        page.goto(live_server.url + pages[name])
        page.evaluate("document.activeElement.blur()")
        for _stop in range(40):
            page.keyboard.press("Tab")
            unseen = page.evaluate(UNSEEN)
            if unseen is None:
                break
            assert unseen == "", name


def _sign_in(page: Page) -> None:
    page.get_by_label("Username").fill("owner")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("button", name="Close the tour").click()
    page.get_by_role("region", name="Tour of Topwright").wait_for(state="detached")
