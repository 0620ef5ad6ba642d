"""An outside buyer's commission: sent, taken on, followed over a private link, done with the certificate, erased."""

import datetime as dt
import re
import uuid
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.core import mail
from django.core.signing import TimestampSigner
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from diagnostics.models import BenchSheet
from reports import services as papers
from reports.commission import services
from reports.commission.selectors import terms_shown
from reports.commission.services import CarFacts
from reports.models import Certificate, Commission, CommissionLink
from shop.errors import Conflict, Refused, ShopError
from shop.estimates import money_words
from shop.models import Car, Customer, Job, JobNote, ShopProfile, TrailEntry, User
from shop.words import day_words
from tests.reports.commissioning import commissioned, taken_on
from tests.reports.signing import file_of, issued
from tests.test_hostile import HOSTILE

ClientAs = Callable[[str], Client]
OTHER_VIN = "0TWAH5903RT000002"


@pytest.fixture(autouse=True)
def _keys(settings: Any, tmp_path: Path) -> None:
    settings.SIGNING_KEY, settings.SIGNING_KEY_MADE = str(tmp_path / "signing.p12"), True


@pytest.fixture
def shop(shop_profile: ShopProfile) -> ShopProfile:
    shop_profile.inspection_fee, shop_profile.inspection_terms = Decimal("240.00"), "Paid on the day.\nNo refund after."
    shop_profile.save()
    return shop_profile


def _stamp(seconds_ago: int = 60) -> str:
    signer, now = TimestampSigner(salt="diagnostics.tell"), timezone.now().timestamp()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("django.core.signing.time.time", lambda: now - seconds_ago)
        return signer.sign(uuid.uuid4().hex)


def typed(**change: Any) -> dict[str, Any]:
    today = timezone.localdate()
    return {
        "maker": "Halden", "model": "Brise", "year": "2014", "vin": "", "top": "hard", "place": "Lorne, Quay 3",
        "seller_phone": "", "seller_consent_by": "", "wanted": "Does it leak?", "from_on": f"{today:%Y-%m-%d}",
        "until_on": f"{today + dt.timedelta(days=9):%Y-%m-%d}", "name": "Oda Marchbank", "email": "oda@buyer.example",
        "phone": "555 0170", "consent": "on", "accepted": "on", "website": "", "stamp": _stamp(),
        "terms": terms_shown(ShopProfile.objects.first()).replace("\n", "\r\n"),
    } | change  # fmt: skip


def taken(commission: Commission, by: User, vin: str = OTHER_VIN) -> Job:
    facts = CarFacts("Halden", "Brise", dt.date(2014, 1, 1), year_only=True)
    return services.commission_take(
        commission=commission, by=by, vin=vin, facts=facts, title="Inspection", appointment_on=timezone.localdate()
    )


def done(commission: Commission, job: Job) -> None:
    """The commission as the one of a job that was inspected."""
    Commission.objects.filter(pk=commission.pk).update(state="taken", job=job, appointment_on=timezone.localdate())


class TestSending:
    def test_a_stranger_sends_one_and_lands_on_the_private_page(
        self, shop: ShopProfile, django_capture_on_commit_callbacks: Any
    ) -> None:
        client = Client()
        page = client.get("/commission/").content.decode()
        assert money_words(Decimal("240.00"), "EUR") in page
        assert "No refund after." in page
        with django_capture_on_commit_callbacks(execute=True):
            answer = client.post("/commission/", typed())
        assert re.fullmatch(r"/c/[\w-]{43}/", answer["Location"])
        made = Commission.objects.get()
        assert made.terms == terms_shown(shop)
        assert (made.fee, made.currency, made.state) == (Decimal("240.00"), "EUR", "asked")
        followed = client.get(answer["Location"])
        assert "will answer you" in followed.content.decode()
        for secret in ("Marchbank", "oda@buyer.example", "555 0170", "Quay 3", "Does it leak"):
            assert secret not in followed.content.decode()
        assert "no-store" in followed["Cache-Control"]
        assert followed["Referrer-Policy"] == "strict-origin"
        assert 'content="noindex"' in followed.content.decode()
        assert [letter.to for letter in mail.outbox] == [["oda@buyer.example"]]
        assert "/c/" in mail.outbox[0].body
        assert "Marchbank" not in mail.outbox[0].body
        assert "leak" not in mail.outbox[0].body

    def test_later_terms_do_not_touch_what_was_accepted(self, shop: ShopProfile) -> None:
        made, _token = commissioned()
        shop.inspection_terms = "Others."
        shop.save()
        made.refresh_from_db()
        assert "No refund after." in made.terms

    def test_terms_that_changed_meanwhile_are_read_again(self, shop: ShopProfile) -> None:
        data = typed()
        shop.inspection_fee = Decimal("300.00")
        shop.save()
        answer = Client().post("/commission/", data)
        assert answer.status_code == 409
        page = answer.content.decode()
        assert money_words(Decimal("300.00"), "EUR") in page
        assert "Does it leak?" in page
        ticked = {name for name in ("consent", "accepted") if re.search(f'<input[^>]*name="{name}"[^>]* checked', page)}
        assert ticked == {"consent"}
        assert not Commission.objects.exists()

    @pytest.mark.parametrize(
        ("change", "words"),
        [
            ({"accepted": ""}, "The inspection is done on these terms only"),
            ({"consent": ""}, "Without your consent"),
            ({"email": "nobody"}, "Enter a valid email address."),
            ({"year": "1899"}, "Give the year with four digits"),
            ({"vin": "0TWAH5903RT00000"}, "A VIN has 17 characters; this one has 16."),
            ({"vin": "OTWAH5903RT000001"}, "was 0TWAH5903RT000001 meant?"),
            ({"from_on": "2020-01-01"}, "This day is over"),
            ({"until_on": "2020-01-01"}, "The last day comes before the first."),
            ({"until_on": "9999-01-01"}, "more than a year ahead"),
            ({"seller_phone": "555 0199"}, "We call the seller only with their consent"),
            ({"seller_phone": "555 0199", "seller_consents": "on"}, "We call the seller only with their consent"),
            ({"name": "x" * 300}, "at most 120 characters"),
            ({"name": "A\0B"}, "Null characters are not allowed."),
            ({"website": "http://x.example"}, "A field that must stay empty was filled in."),
            ({"stamp": "forged"}, "This page was open too long."),
            ({"stamp": ""}, "This page was open too long."),
        ],
    )
    def test_what_is_wrong_is_said_and_nothing_typed_is_lost(
        self, shop: ShopProfile, change: dict[str, str], words: str
    ) -> None:
        answer = Client().post("/commission/", typed(**change))
        assert answer.status_code == 422
        page = answer.content.decode()
        assert words in page
        assert "Does it leak?" in page
        assert "Lorne, Quay 3" in page
        assert not Commission.objects.exists()

    def test_machines_are_too_fast_and_too_many(self, shop: ShopProfile) -> None:
        client = Client()
        assert "faster than anybody types" in client.post("/commission/", typed(stamp=_stamp(0))).content.decode()
        for number in range(10):
            answer = client.post("/commission/", typed(email=f"a{number}@buyer.example"))
            assert answer.status_code == 302
        answer = client.post("/commission/", typed(email="b@buyer.example"))
        assert answer.status_code == 429
        assert Commission.objects.count() == 10

    def test_nobody_is_flooded_with_mails_by_strangers(self, shop: ShopProfile) -> None:
        answers = [
            Client(REMOTE_ADDR=f"192.0.2.{number}").post("/commission/", typed(model=f"Brise {number}")).status_code
            for number in range(4)
        ]
        assert answers == [302, 302, 302, 429]

    def test_the_same_sent_twice_is_kept_once(self, shop: ShopProfile) -> None:
        (first, one), (second, two) = commissioned(), commissioned()
        assert first == second
        assert one != two
        assert commissioned(wanted="Something else")[0] != first

    def test_signs_that_turn_words_around_are_left_out_and_other_scripts_are_not(self, shop: ShopProfile) -> None:
        Client().post("/commission/", typed(name="\u202eknabhcraM adO", place="شارع البحر 3"))
        made = Commission.objects.get()
        assert (made.name, made.place) == ("knabhcraM adO", "شارع البحر 3")

    def test_a_shop_without_a_fee_takes_none(self, shop_profile: ShopProfile) -> None:
        answer = Client().get("/commission/")
        assert (answer.status_code, "takes no commissions" in answer.content.decode()) == (200, True)
        assert Client().post("/commission/", typed()).status_code == 422
        assert not Commission.objects.exists()

    def test_the_database_keeps_no_seller_without_consent(self, shop: ShopProfile) -> None:
        made, _token = commissioned()
        for change in ({"seller_phone": "5"}, {"name": ""}, {"terms": ""}, {"state": "taken"}, {"state": "declined"}):
            with pytest.raises(IntegrityError), transaction.atomic():
                Commission.objects.filter(pk=made.pk).update(**change)


class TestAtTheCounter:
    def test_one_act_makes_customer_car_and_job(
        self, shop: ShopProfile, counter: User, client_as: ClientAs, django_capture_on_commit_callbacks: Any
    ) -> None:
        made, _token = commissioned(seller_phone="555 0199", seller_consent_by="Mr Vane")
        client, today = client_as("counter"), timezone.localdate()
        page = client.get(made.get_absolute_url()).content.decode()
        assert "consent given by Mr Vane" in page
        data = {"vin": OTHER_VIN, "maker": "Halden", "model": "Brise", "made_on": "2014-01", "year_only": "on",
                "title": "Inspection before purchase", "appointment_on": f"{today:%Y-%m-%d}"}  # fmt: skip
        with django_capture_on_commit_callbacks(execute=True):
            first = client.post(f"{made.get_absolute_url()}take/", data)
            second = client.post(f"{made.get_absolute_url()}take/", data)
        made.refresh_from_db()
        job = made.job
        assert job is not None
        assert first["Location"] == second["Location"] == job.get_absolute_url()
        assert (Job.objects.count(), Car.objects.count(), Customer.objects.count()) == (1, 1, 1)
        assert (job.stage, job.promised_on, made.appointment_on, made.state) == ("booked", today, today, "taken")
        assert job.car.owner is None  # the buyer owns no car by it
        assert made.customer is not None
        assert made.customer.email == "oda@buyer.example"
        assert made.number in JobNote.objects.get().words
        assert len(mail.outbox) == 1
        assert "The appointment is on" in mail.outbox[0].body
        trail = " ".join(TrailEntry.objects.values_list("words", flat=True))
        assert f"comes from commission {made.number}" in trail
        for secret in ("Marchbank", "buyer.example", "0170", "0199", "Vane", "leak", "Quay"):
            assert secret not in trail
            assert secret not in f"{job.title}{job.complaint}{JobNote.objects.get().words}"

    def test_who_and_what_is_in_the_books_is_found(self, shop: ShopProfile, car: Car, counter: User) -> None:
        known = Customer.objects.create(name="Oda M.", email="ODA@buyer.example")
        made, _token = commissioned()
        job = services.commission_take(
            commission=made, by=counter, vin=car.vin, facts=CarFacts("", "", None), title="Inspection",
            appointment_on=timezone.localdate(),
        )  # fmt: skip
        made.refresh_from_db()
        assert (job.car, made.customer, made.customer_made) == (car, known, False)
        car.refresh_from_db()
        assert car.owner is not None
        assert car.owner.name == "Ada Quill"

    def test_what_a_new_car_needs_is_asked_for(self, shop: ShopProfile, client_as: ClientAs) -> None:
        made, _token = commissioned()
        data = {"vin": OTHER_VIN, "title": "Inspection", "appointment_on": f"{timezone.localdate():%Y-%m-%d}"}
        answer = client_as("counter").post(f"{made.get_absolute_url()}take/", data)
        assert answer.status_code == 422
        assert "The car is not in the books yet" in answer.content.decode()
        assert OTHER_VIN in answer.content.decode()
        assert not Job.objects.exists()

    def test_declined_with_a_reason_that_the_buyer_reads(
        self, shop: ShopProfile, counter: User, django_capture_on_commit_callbacks: Any
    ) -> None:
        made, token = commissioned(seller_phone="555 0199", seller_consent_by="Mr Vane")
        with pytest.raises(ShopError, match="Say why"):
            services.commission_decline(commission=made, by=counter, reason=" ")
        with django_capture_on_commit_callbacks(execute=True):
            services.commission_decline(commission=made, by=counter, reason="We do not know this top.")
        assert "We do not know this top." in mail.outbox[0].body
        assert "We do not know this top." in Client().get(f"/c/{token}/").content.decode()
        made.refresh_from_db()
        assert (made.seller_phone, made.seller_consent_by) == ("", "")
        for act in (lambda: taken(made, counter), lambda: services.commission_withdraw(commission=made)):
            with pytest.raises(Conflict):
                act()
        assert not Job.objects.exists()

    def test_who_may(self, shop: ShopProfile, parts_user: User, tech: User, counter: User) -> None:
        made, _token = commissioned()
        for act in (
            lambda: taken(made, parts_user),
            lambda: services.commission_decline(commission=made, by=parts_user, reason="No"),
            lambda: services.link_send(commission=made, by=parts_user),
            lambda: services.links_revoke(commission=made, by=parts_user),
            lambda: services.commission_erase(commission=made, by=tech),
        ):
            with pytest.raises(Refused):
                act()

    def test_they_wait_on_the_floor_and_the_list_asks_little(self, shop: ShopProfile, client_as: ClientAs) -> None:
        client = client_as("counter")
        assert "commissions/waiting" in client.get("/").content.decode()
        counts = []
        for number in (1, 2, 3):
            commissioned(wanted=f"Number {number}")
            with CaptureQueriesContext(connection) as queries:
                client.get("/commissions/")
            counts.append(len(queries))
        assert len(set(counts)) == 1
        assert "3 commissions wait" in client.get("/commissions/waiting/").content.decode()

    def test_a_mail_that_does_not_get_out_is_told(
        self, shop: ShopProfile, client_as: ClientAs, settings: Any, django_capture_on_commit_callbacks: Any
    ) -> None:
        settings.EMAIL_BACKEND, settings.EMAIL_HOST = "django.core.mail.backends.smtp.EmailBackend", "127.0.0.1"
        settings.EMAIL_PORT = 9
        with django_capture_on_commit_callbacks(execute=True):
            made, _token = commissioned()
        assert "Mail not sent" in client_as("counter").get(made.get_absolute_url()).content.decode()


def in_days(days: int) -> dt.date:
    return timezone.localdate() + dt.timedelta(days=days)


class TestMovingTheAppointment:
    def test_the_buyer_reads_the_new_day_and_the_job_goes_along(
        self, shop: ShopProfile, client_as: ClientAs, counter: User, django_capture_on_commit_callbacks: Any
    ) -> None:
        made, token = commissioned()
        job, desk, today, later = taken(made, counter), client_as("counter"), in_days(0), in_days(3)
        page = desk.get(made.get_absolute_url()).content.decode()
        assert "Move the appointment" in page
        data = {"appointment_on": f"{later:%Y-%m-%d}", "why": "  Our gauge is\naway. ", "seen": f"{today:%Y-%m-%d}"}
        with django_capture_on_commit_callbacks(execute=True):
            answer = desk.post(f"{made.get_absolute_url()}appointment/", data, follow=True)
        words = answer.content.decode()
        assert f"The appointment of {made.number} is on {day_words(later)} now; the buyer is told." in words
        made.refresh_from_db()
        job.refresh_from_db()
        assert (made.appointment_on, job.promised_on, made.state) == (later, later, "taken")
        (letter,) = mail.outbox
        assert letter.subject == f"Commission {made.number}: another day for the inspection"
        assert letter.to == ["oda@buyer.example"]
        assert f"It was on {day_words(today)}; it is now on {day_words(later)}." in letter.body
        assert "Why: Our gauge is away." in letter.body
        link = re.search(r"/c/[\w-]{43}/", letter.body)
        assert link is not None
        for path in (link[0], f"/c/{token}/"):
            seen = Client().get(path).content.decode()
            assert f"Appointment: {day_words(later)}" in seen
            assert day_words(today) not in re.sub(r"<time.*?</time>", "", seen)

    def test_the_trail_names_the_number_and_nothing_of_the_buyer(
        self, shop: ShopProfile, counter: User, job: Job
    ) -> None:
        made, _token = taken_on(job, in_days(1))
        services.commission_appoint(commission=made, by=counter, appointment_on=in_days(2), why="Oda Marchbank is ill")
        entry = TrailEntry.objects.get(kind="commission.moved")
        days = f"from {day_words(in_days(1))} to {day_words(in_days(2))}"
        assert entry.words == f"Appointment of commission {made.number} moved {days}."
        assert (entry.job, entry.by, entry.link) == (job, counter, made.get_absolute_url())
        rows = [str(list(model.objects.values())) for model in (TrailEntry, Job, JobNote)]
        assert not [one for one in rows if "Marchbank" in one or " ill" in one]

    def test_a_day_that_was_promised_otherwise_stays(self, shop: ShopProfile, counter: User, job: Job) -> None:
        made, _token = taken_on(job, in_days(1))
        for promised in (in_days(5), None):
            Job.objects.filter(pk=job.pk).update(promised_on=promised)
            services.commission_appoint(
                commission=made, by=counter, appointment_on=in_days(2 if promised else 3), why=""
            )
            made.refresh_from_db()
            job.refresh_from_db()
            assert job.promised_on == promised
        assert made.appointment_on == in_days(3)

    @pytest.mark.parametrize(
        ("days", "why", "words"),
        [(-1, "", "lies in the past"), (1, "", "on this day already"), (2, "x" * 301, "at most 300 characters")],
    )
    def test_a_bad_day_is_refused_and_nothing_is_kept(
        self, shop: ShopProfile, counter: User, job: Job, days: int, why: str, words: str,
        django_capture_on_commit_callbacks: Any,
    ) -> None:  # fmt: skip
        made, _token = taken_on(job, in_days(1))
        with (
            django_capture_on_commit_callbacks(execute=True),
            pytest.raises(ShopError, match=words) as told,
        ):
            services.commission_appoint(commission=made, by=counter, appointment_on=in_days(days), why=why)
        assert told.value.status == 422
        made.refresh_from_db()
        assert made.appointment_on == in_days(1)
        assert (mail.outbox, TrailEntry.objects.filter(kind="commission.moved").count()) == ([], 0)

    @pytest.mark.parametrize("state", ["asked", "declined", "withdrawn", "done"])
    def test_only_what_is_taken_on_has_one_to_move(
        self, shop: ShopProfile, counter: User, client_as: ClientAs, job: Job, state: str
    ) -> None:
        made, _token = taken_on(job)
        if state in ("asked", "declined"):
            made.job = None
        made.state, made.declined_reason = state, "No"
        made.ended_at = None if state == "asked" else timezone.now()
        made.save()
        with pytest.raises(Conflict, match="has no appointment to move"):
            services.commission_appoint(commission=made, by=counter, appointment_on=in_days(2))
        desk, data = client_as("counter"), {"appointment_on": f"{in_days(2)}", "seen": f"{in_days(0)}"}
        assert desk.post(f"{made.get_absolute_url()}appointment/", data).status_code == 409
        assert "Move the appointment" not in desk.get(made.get_absolute_url()).content.decode()

    def test_of_a_finished_job_it_is_over(
        self, shop: ShopProfile, counter: User, client_as: ClientAs, job: Job
    ) -> None:
        made, _token = taken_on(job)
        Job.objects.filter(pk=job.pk).update(stage="done", finished_at=timezone.now())
        with pytest.raises(Conflict, match="is finished; its appointment is over"):
            services.commission_appoint(commission=made, by=counter, appointment_on=in_days(2))
        assert "Move the appointment" not in client_as("counter").get(made.get_absolute_url()).content.decode()

    def test_who_saw_another_day_is_told_and_two_clicks_are_one(
        self, shop: ShopProfile, client_as: ClientAs, counter: User, job: Job, django_capture_on_commit_callbacks: Any
    ) -> None:
        made, _token = taken_on(job, in_days(1))
        desk, seen = client_as("counter"), f"{in_days(1):%Y-%m-%d}"
        with django_capture_on_commit_callbacks(execute=True):
            for _click in range(2):
                data = {"appointment_on": f"{in_days(4):%Y-%m-%d}", "seen": seen}
                assert desk.post(f"{made.get_absolute_url()}appointment/", data).status_code == 302
        assert len(mail.outbox) == TrailEntry.objects.filter(kind="commission.moved").count() == 1
        data = {"appointment_on": f"{in_days(6):%Y-%m-%d}", "why": "Later", "seen": seen}
        answer = desk.post(f"{made.get_absolute_url()}appointment/", data)
        page = answer.content.decode()
        assert answer.status_code == 409
        assert f"meanwhile, to {day_words(in_days(4))}" in page
        assert all(f'value="{value}"' in page for value in ("Later", f"{in_days(6):%Y-%m-%d}"))
        made.refresh_from_db()
        assert made.appointment_on == in_days(4)
        again = re.search(r'name="seen" value="([^"]+)"', page)
        assert again is not None
        assert desk.post(f"{made.get_absolute_url()}appointment/", data | {"seen": again[1]}).status_code == 302

    def test_what_is_wrong_in_the_form_is_said(self, shop: ShopProfile, client_as: ClientAs, job: Job) -> None:
        made, _token = taken_on(job)
        desk, address = client_as("counter"), f"{made.get_absolute_url()}appointment/"
        data = {"appointment_on": f"{in_days(-1):%Y-%m-%d}", "why": "Later", "seen": f"{in_days(0):%Y-%m-%d}"}
        for change, words in (
            ({}, "lies in the past"), ({"appointment_on": "soon"}, "Enter a valid date."),
            ({"seen": ""}, "Which appointment you saw did not come along."),
        ):  # fmt: skip
            answer = desk.post(address, data | change)
            assert answer.status_code == 422
            assert words in answer.content.decode()
            assert 'value="Later"' in answer.content.decode()

    def test_of_an_erased_buyer_the_day_moves_and_nobody_is_told(
        self, shop: ShopProfile, client_as: ClientAs, counter: User, job: Job, django_capture_on_commit_callbacks: Any
    ) -> None:
        made, _token = taken_on(job)
        services.commission_erase(commission=made, by=counter)
        links = CommissionLink.objects.count()
        data = {"appointment_on": f"{in_days(2):%Y-%m-%d}", "seen": f"{in_days(0):%Y-%m-%d}"}
        with django_capture_on_commit_callbacks(execute=True):
            answer = client_as("counter").post(f"{made.get_absolute_url()}appointment/", data, follow=True)
        assert "the buyer is erased, so nobody is told." in answer.content.decode()
        assert (mail.outbox, CommissionLink.objects.count()) == ([], links)

    def test_who_may(self, shop: ShopProfile, parts_user: User, tech: User, job: Job, client_as: ClientAs) -> None:
        made, _token = taken_on(job)
        with pytest.raises(Refused):
            services.commission_appoint(commission=made, by=parts_user, appointment_on=in_days(2))
        assert "Move the appointment" not in client_as("parts").get(made.get_absolute_url()).content.decode()
        assert services.commission_appoint(commission=made, by=tech, appointment_on=in_days(2)).pk == made.pk


class TestOnTheJobsPage:
    HTMX = {"HX-Request": "true"}

    def test_it_says_what_was_commissioned(self, shop: ShopProfile, client_as: ClientAs, job: Job) -> None:
        made, _token = taken_on(job, in_days(1), seller_phone="555 0199", seller_consent_by="Mr Vane")
        address = f"{job.get_absolute_url()}commission/"
        for role in ("technician", "counter", "parts", "owner"):
            assert f'hx-get="{address}"' in client_as(role).get(job.get_absolute_url()).content.decode()
            answer = client_as(role).get(address, headers=self.HTMX)
            panel = answer.content.decode()
            assert "<html" not in panel
            assert "no-store" in answer["Cache-Control"]
            for said in (
                f'href="{made.get_absolute_url()}"', made.number, "Taken on", "Does it leak?", "Lorne, Quay 3",
                day_words(in_days(1)), "Oda Marchbank", "555 0199", "consent given by Mr Vane",
            ):  # fmt: skip
                assert said in panel, said
            assert "oda@buyer.example" not in panel

    def test_nothing_of_the_seller_once_it_has_ended_or_of_the_buyer_once_erased(
        self, shop: ShopProfile, client_as: ClientAs, counter: User, job: Job
    ) -> None:
        made, _token = taken_on(job, seller_phone="555 0199", seller_consent_by="Mr Vane")
        services.commission_withdraw(commission=made)
        desk, address = client_as("counter"), f"{job.get_absolute_url()}commission/"
        panel = desk.get(address, headers=self.HTMX).content.decode()
        assert "Withdrawn" in panel
        assert "Vane" not in panel
        assert "0199" not in panel
        services.commission_erase(commission=made, by=counter)
        panel = desk.get(address, headers=self.HTMX).content.decode()
        assert "(buyer erased)" in panel
        for secret in ("Marchbank", "Does it leak", "Quay"):
            assert secret not in panel

    def test_a_job_of_no_commission_has_no_panel(self, shop: ShopProfile, client_as: ClientAs, job: Job) -> None:
        taken_on(Job.objects.create(car=job.car, title="Other", held_since=job.held_since, opened_at=job.opened_at,
                                    opened_by=job.opened_by))  # fmt: skip
        desk, address = client_as("counter"), f"{job.get_absolute_url()}commission/"
        assert desk.get(address, headers=self.HTMX).content.strip() == b""
        assert "This job comes from no commission." in desk.get(address).content.decode()

    def test_the_jobs_page_asks_no_more_for_it(self, shop: ShopProfile, client_as: ClientAs, job: Job) -> None:
        desk, counts = client_as("counter"), []
        for act in (lambda: None, lambda: taken_on(job)):
            act()
            desk.get(job.get_absolute_url())
            with CaptureQueriesContext(connection) as queries:
                desk.get(job.get_absolute_url())
            counts.append(len(queries))
        assert counts[0] == counts[1]


class TestFollowing:
    def test_nothing_that_was_found_is_told_before_the_certificate(
        self, shop: ShopProfile, checked: Job, owner: User, django_capture_on_commit_callbacks: Any
    ) -> None:
        made, token = commissioned(seller_phone="555 0199", seller_consent_by="Mr Vane")
        done(made, checked)
        client = Client()
        papers.certificate_freeze(job=checked, by=owner)  # being issued is not issued
        before = client.get(f"/c/{token}/").content.decode()
        assert "What was found" not in before
        assert client.get(f"/c/{token}/certificate/").status_code == 404
        with django_capture_on_commit_callbacks(execute=True):
            certificate = issued(checked, owner)
        made.refresh_from_db()
        assert (made.state, made.seller_phone) == ("done", "")
        assert "certificate is there" in mail.outbox[-1].subject
        after = client.get(f"/c/{token}/").content.decode()
        assert certificate.number in after
        assert certificate.content["results"]["findings"][0]["subject"] in after
        given = client.get(f"/c/{token}/certificate/")
        assert given.content == file_of(certificate)
        assert "no-store" in given["Cache-Control"]
        link = re.search(r"/c/[\w-]+/", mail.outbox[-1].body)
        assert link is not None
        assert client.get(link[0]).status_code == 200
        for secret in ("Ada Quill", "Vane", "555 0199", "Marchbank"):  # the car's owner is the seller
            assert secret not in after
            assert secret not in str(certificate.content)
        assert client.post(f"/c/{token}/withdraw/", {"sure": "yes"}).status_code == 409

    def test_a_withdrawn_certificate_is_told_and_not_given(self, shop: ShopProfile, checked: Job, owner: User) -> None:
        made, token = commissioned()
        done(made, checked)
        certificate = issued(checked, owner)
        papers.certificate_withdraw(certificate=certificate, reason="Wrong car", by=owner)
        page = Client().get(f"/c/{token}/").content.decode()
        assert "counts no more" in page
        assert "Wrong car" not in page
        assert Client().get(f"/c/{token}/certificate/").status_code == 404

    def test_who_withdrew_gets_nothing_of_what_the_shop_finds_later(
        self, shop: ShopProfile, checked: Job, owner: User, django_capture_on_commit_callbacks: Any
    ) -> None:
        made, token = commissioned()
        done(made, checked)
        services.commission_withdraw(commission=made)
        with django_capture_on_commit_callbacks(execute=True):
            certificate = issued(checked, owner)
        assert certificate.number not in Client().get(f"/c/{token}/").content.decode()
        assert Client().get(f"/c/{token}/certificate/").status_code == 404
        assert mail.outbox == []

    def test_a_link_opens_its_own_commission_only(self, shop: ShopProfile, checked: Job, owner: User) -> None:
        (made, own), (_other, foreign) = commissioned(), commissioned(model="Other")
        done(made, checked)
        certificate = issued(checked, owner)
        assert Client().get(f"/c/{own}/certificate/").status_code == 200
        assert Client().get(f"/c/{foreign}/certificate/").status_code == 404
        assert certificate.number not in Client().get(f"/c/{foreign}/").content.decode()

    def test_links_run_out_are_revoked_and_sent_again(
        self, shop: ShopProfile, client_as: ClientAs, django_capture_on_commit_callbacks: Any
    ) -> None:
        made, token = commissioned()
        assert token not in str(list(CommissionLink.objects.values()))
        client, desk = Client(), client_as("counter")
        for path in ("", "certificate/"):
            answer = client.get(f"/c/nothing/{path}")
            assert (answer.status_code, "opens nothing" in answer.content.decode()) == (404, True)
        assert client.get("/c/%00/").status_code == 404
        CommissionLink.objects.update(expires_at=timezone.now())
        answer = client.get(f"/c/{token}/")
        assert (answer.status_code, "has run out" in answer.content.decode()) == (410, True)
        with django_capture_on_commit_callbacks(execute=True):
            page = desk.post(f"{made.get_absolute_url()}link/", {"act": "send"}).content.decode()
        shown = re.search(r"/c/[\w-]{43}/", page)
        assert shown is not None
        assert shown[0] in mail.outbox[0].body
        assert client.get(shown[0]).status_code == 200
        desk.post(f"{made.get_absolute_url()}link/", {"act": "revoke"})
        answer = client.get(shown[0])
        assert (answer.status_code, "closed this link" in answer.content.decode()) == (410, True)
        assert client.post(f"{shown[0]}withdraw/", {"sure": "yes"}).status_code == 410
        made.refresh_from_db()
        assert made.state == "asked"

    def test_guessing_ends(self, shop: ShopProfile) -> None:
        client = Client()
        assert [client.get(f"/c/{number}/").status_code for number in range(31)][29:] == [404, 429]

    def test_the_buyer_withdraws_after_being_asked_once_more(self, shop: ShopProfile, counter: User) -> None:
        made, token = commissioned()
        job, client = taken(made, counter), Client()
        assert client.get(f"/c/{token}/withdraw/").status_code == 405
        assert "Yes, withdraw it" in client.post(f"/c/{token}/withdraw/").content.decode()
        made.refresh_from_db()
        assert made.state == "taken"
        for _click in range(2):
            assert client.post(f"/c/{token}/withdraw/", {"sure": "yes"}).status_code == 302
        made.refresh_from_db()
        assert (made.state, made.job) == ("withdrawn", job)
        assert TrailEntry.objects.filter(kind="commission.withdrawn", job=job).count() == 1
        assert "You have withdrawn" in client.get(f"/c/{token}/").content.decode()

    def test_the_secret_is_in_no_log(self, shop: ShopProfile, caplog: Any) -> None:
        from shop.logs import WithoutSecrets

        with caplog.at_level("WARNING", logger="django.request"):
            Client().get("/c/a-secret-of-somebody/")
        for record in caplog.records:
            WithoutSecrets().filter(record)
            assert "a-secret" not in record.getMessage()


class TestErasing:
    def test_nothing_of_the_buyer_is_left_and_the_certificate_stays_valid(
        self, shop: ShopProfile, sheet: BenchSheet, checked: Job, owner: User, django_capture_on_commit_callbacks: Any
    ) -> None:
        made, token = commissioned(vin=OTHER_VIN)
        job = taken(made, owner)
        Commission.objects.filter(pk=made.pk).update(job=checked)
        certificate = issued(checked, owner)
        with django_capture_on_commit_callbacks(execute=True):
            told = services.commission_erase(commission=made, by=owner)
        assert told == "The customer’s record is anonymised."
        assert "are erased" in mail.outbox[-1].body
        assert mail.outbox[-1].to == ["oda@buyer.example"]
        every = [
            str(list(model.objects.values()))
            for model in (Commission, CommissionLink, Customer, TrailEntry, JobNote, Job, Certificate)
        ]
        for secret in ("Marchbank", "buyer.example", "555 0170", "Does it leak", "Quay"):
            assert not [rows for rows in every if secret in rows], secret
        answer = Client().get(f"/c/{token}/")
        assert (answer.status_code, "erased" in answer.content.decode()) == (410, True)
        assert "valid" in Client().get(f"/check/{certificate.number}/").content.decode().lower()
        assert file_of(certificate)
        assert services.commission_erase(commission=made, by=owner) == ""
        assert Job.objects.filter(pk=job.pk).exists()
        with pytest.raises(Conflict, match="nobody to send"):
            services.link_send(commission=made, by=owner)

    def test_what_waits_is_withdrawn_by_it(self, shop: ShopProfile, counter: User) -> None:
        made, _token = commissioned()
        services.commission_erase(commission=made, by=counter)
        made.refresh_from_db()
        assert made.state == "withdrawn"

    def test_a_job_goes_on_and_nobody_is_mailed(
        self, shop: ShopProfile, checked: Job, owner: User, django_capture_on_commit_callbacks: Any
    ) -> None:
        made, _token = commissioned()
        done(made, checked)
        services.commission_erase(commission=made, by=owner)
        with django_capture_on_commit_callbacks(execute=True):
            issued(checked, owner)
        made.refresh_from_db()
        assert (made.state, mail.outbox) == ("done", [])

    def test_a_customer_with_another_reason_stays(self, shop: ShopProfile, counter: User, car: Car) -> None:
        made, _token = commissioned()
        job = taken(made, counter)
        Car.objects.filter(pk=job.car_id).update(owner=Commission.objects.get().customer)
        told = services.commission_erase(commission=made, by=counter)
        assert told == "The customer’s record stays: it belongs to a car in the books too."
        assert Customer.objects.filter(name="Oda Marchbank").exists()

    def test_a_customer_of_before_is_no_prey_of_who_types_their_address(self, shop: ShopProfile, counter: User) -> None:
        Customer.objects.create(name="Ida Moss", email="ida@moss.example")
        made, _token = commissioned(email="ida@moss.example")
        taken(made, counter)
        assert "was in the book before" in services.commission_erase(commission=made, by=counter)
        assert Customer.objects.get().name == "Ida Moss"

    def test_the_last_commission_takes_the_record_along(self, shop: ShopProfile, counter: User) -> None:
        (first, _one), (second, _two) = commissioned(), commissioned(model="Other")
        taken(first, counter)
        taken(second, counter, vin="0TWAH5903RT000003")
        assert "another commission too" in services.commission_erase(commission=first, by=counter)
        assert "anonymised" in services.commission_erase(commission=second, by=counter)

    def test_it_is_asked_for_once_more(self, shop: ShopProfile, client_as: ClientAs) -> None:
        made, _token = commissioned()
        desk, address = client_as("counter"), f"{made.get_absolute_url()}erase/"
        assert desk.post(address).status_code == 422
        made.refresh_from_db()
        assert made.erased_at is None
        assert desk.post(address, {"sure": "yes"}).status_code == 302
        page = desk.get(made.get_absolute_url()).content.decode()
        assert "(buyer erased)" in page
        assert "Marchbank" not in page


def test_no_value_of_the_public_form_breaks_anything(shop: ShopProfile, client_as: ClientAs) -> None:
    """In the first second as in the tenth try: each from another address, so that no limit answers instead."""
    tried, kept = 0, 0
    for field in typed():
        for value in HOSTILE.values():
            tried += 1
            data = typed(email=f"a{tried}@buyer.example") | {field: value}
            answer = Client(REMOTE_ADDR=f"198.18.{tried // 250}.{tried % 250 + 1}").post("/commission/", data)
            assert answer.status_code in (302, 409, 422), (field, value, answer.status_code)
            kept += answer.status_code == 302
            assert Commission.objects.count() == kept, (field, value)
    assert 20 < kept < tried
    for made in Commission.objects.all():
        page = client_as("counter").get(made.get_absolute_url())
        assert page.status_code == 200
        assert b"<script>" not in page.content
        assert "\u202e" not in page.content.decode()
