"""The book of instruments: added, calibrated, retired, and chosen on the page of a job."""

import datetime as dt
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from diagnostics.models import Check
from reports.instruments import selectors, services
from reports.instruments.services import Facts
from reports.models import Calibration, Instrument, InstrumentUse
from shop.errors import Conflict, Refused, ShopError
from shop.models import Job, TrailEntry, User
from tests.reports.measuring import calibration, instrument

pytestmark = pytest.mark.django_db
ClientAs = Callable[[str], Client]


def day(ahead: int = 0) -> dt.date:
    return timezone.localdate() + dt.timedelta(days=ahead)


def state_of(row: Instrument) -> str:
    return selectors.standing(Instrument.objects.get(pk=row.pk), day()).state


class TestTheBook:
    def test_an_instrument_is_kept_and_told_of(self, tech: User) -> None:
        made = instrument(tech, name="  Bench   meter 1 ")
        assert (made.name, made.serial, made.accuracy) == ("Bench meter 1", "LM-20417", ("0.3", "0.02"))
        assert TrailEntry.objects.get(kind="instrument.added").words == (
            "Bench meter 1 (LM-20417) is in the book of instruments."
        )

    @pytest.mark.parametrize(
        ("change", "said"),
        [
            ({"kind": "crowbar"}, "what kind"),
            ({"name": " "}, "a name and its serial"),
            ({"serial": ""}, "a name and its serial"),
            ({"accuracy_volts": None}, "both parts"),
            ({"accuracy_percent": Decimal("NaN")}, "between 0 and 20 %"),
            ({"accuracy_percent": Decimal(-1)}, "between 0 and 20 %"),
            ({"accuracy_volts": Decimal(11)}, "and 10 V"),
            ({"accuracy_percent": Decimal(0), "accuracy_volts": Decimal(0)}, "No meter is exact"),
            ({"kind": "stopwatch", "accuracy_percent": Decimal(1)}, "accuracy of a multimeter"),
        ],
    )
    def test_what_cannot_be_is_refused_in_a_sentence(self, tech: User, change: dict[str, Any], said: str) -> None:
        with pytest.raises(ShopError, match=said):
            instrument(tech, **change)
        assert not Instrument.objects.exists()
        assert not TrailEntry.objects.filter(kind__startswith="instrument.").exists()

    def test_a_serial_is_there_once_among_those_in_use(self, tech: User) -> None:
        first = instrument(tech)
        with pytest.raises(Conflict, match="is that of Bench meter 1 already"):
            instrument(tech, serial="lm-20417")
        instrument(tech, kind="stopwatch")  # another kind
        services.instrument_retire(instrument=first, reason="fell down", by=tech)
        instrument(tech, name="Bench meter 2")
        with pytest.raises(Conflict, match="is that of Bench meter 2 already"):
            services.instrument_return(instrument=first, by=tech)

    def test_what_was_written_wrongly_is_put_right_but_its_kind_stays(self, tech: User) -> None:
        made = instrument(tech)
        facts = Facts("multimeter", "Bench meter 1", "LM-20471", Decimal("0.5"), Decimal("0.03"))
        assert services.instrument_change(instrument=made, facts=facts, by=tech).serial == "LM-20471"
        with pytest.raises(ShopError, match="stays a multimeter"):
            services.instrument_change(instrument=made, facts=Facts("stopwatch", "a", "b"), by=tech)

    def test_retired_says_why_and_comes_back(self, tech: User) -> None:
        made = instrument(tech)
        with pytest.raises(ShopError, match="Say why"):
            services.instrument_retire(instrument=made, reason="  ", by=tech)
        services.instrument_retire(instrument=made, reason="display broken", by=tech)
        with pytest.raises(Conflict, match="is retired since"):
            calibration(made, tech)
        assert state_of(made) == "retired"
        services.instrument_return(instrument=made, by=tech)
        assert state_of(made) == "never"

    @pytest.mark.parametrize("role", ["counter", "parts_user"])
    def test_only_who_measures_writes_the_book(self, role: str, request: pytest.FixtureRequest, tech: User) -> None:
        by, made = request.getfixturevalue(role), instrument(tech)
        for act in (
            lambda: instrument(by, serial="other"),
            lambda: calibration(made, by),
            lambda: services.instrument_retire(instrument=made, reason="r", by=by),
        ):
            with pytest.raises(Refused):
                act()
        assert (Instrument.objects.count(), Calibration.objects.count()) == (1, 0)


class TestCalibrations:
    @pytest.mark.parametrize(
        ("ago", "lasts", "state"),
        [(0, 365, "valid"), (100, 131, "valid"), (100, 130, "ends"), (100, 100, "ends"), (100, 99, "expired")],
    )
    def test_the_state_follows_the_days(self, tech: User, ago: int, lasts: int, state: str) -> None:
        """Ends: within 30 days, its last day included."""
        made = instrument(tech)
        assert state_of(made) == "never"
        calibration(made, tech, ago=ago, lasts=lasts)
        assert state_of(made) == state

    @pytest.mark.parametrize(
        ("change", "said"),
        [
            ({"calibrated_on": day(2), "valid_until": day(9)}, "expected today or earlier"),
            ({"calibrated_on": dt.date(1, 1, 1)}, "expected today or earlier"),
            ({"calibrated_on": day(-9), "valid_until": day(-9)}, "a day after"),
            ({"number": " "}, "number of the calibration"),
            ({"laboratory": ""}, "laboratory"),
            ({"expanded_volts": Decimal(0)}, "above 0 V"),
            ({"expanded_volts": Decimal("Infinity")}, "above 0 V"),
        ],
    )
    def test_what_cannot_be_is_refused(self, tech: User, change: dict[str, Any], said: str) -> None:
        with pytest.raises(ShopError, match=said):
            calibration(instrument(tech), tech, **change)
        assert not Calibration.objects.exists()

    def test_an_uncertainty_in_volts_is_of_a_multimeter(self, tech: User) -> None:
        watch = instrument(tech, kind="stopwatch")
        with pytest.raises(ShopError, match="that of a multimeter"):
            calibration(watch, tech, expanded_volts=Decimal("0.01"))

    def test_the_same_certificate_is_written_down_once(self, tech: User) -> None:
        made = instrument(tech)
        wrong = calibration(made, tech, number="K-7")
        with pytest.raises(Conflict, match="already"):
            calibration(made, tech, number="K-7")
        services.calibration_strike(calibration=wrong, reason="wrong day", by=tech)
        calibration(made, tech, number="K-7", ago=90)
        assert made.calibrations.count() == 2

    def test_a_struck_one_stays_readable_and_counts_no_more(self, tech: User) -> None:
        made = instrument(tech)
        row = calibration(made, tech)
        with pytest.raises(ShopError, match="Say why"):
            services.calibration_strike(calibration=row, reason="", by=tech)
        services.calibration_strike(calibration=row, reason="of another meter", by=tech)
        with pytest.raises(Conflict, match="already"):
            services.calibration_strike(calibration=row, reason="again", by=tech)
        assert state_of(made) == "never"
        assert Calibration.objects.get().struck_reason == "of another meter"

    @pytest.mark.parametrize(
        "wrong",
        [
            {"valid_until": day(-100)}, {"number": ""}, {"expanded_volts": Decimal(0)},
            {"struck_at": timezone.now()},
        ],
    )  # fmt: skip
    def test_the_database_refuses_it_too(self, tech: User, wrong: dict[str, Any]) -> None:
        row = calibration(instrument(tech), tech)
        with pytest.raises(IntegrityError), transaction.atomic():
            Calibration.objects.filter(pk=row.pk).update(**wrong)


class TestOnAJob:
    def test_one_of_a_kind_stands_and_the_next_takes_its_place(self, job: Job, tech: User) -> None:
        first, second = instrument(tech), instrument(tech, name="Bench meter 2", serial="LM-3")
        watch = instrument(tech, kind="stopwatch", name="Watch", serial="S-1")
        for one in (first, watch, second, second):
            services.instrument_choose(job=job, instrument=one, by=tech)
        assert [use.instrument for use in selectors.used_on(job)] == [second, watch]
        assert InstrumentUse.objects.count() == 3
        told = TrailEntry.objects.filter(job=job, kind="instrument.chosen").order_by("pk")
        assert told[0].words == "Used here: multimeter Bench meter 1 (LM-20417)."

    def test_undone_none_is_named(self, job: Job, tech: User) -> None:
        use = services.instrument_choose(job=job, instrument=instrument(tech), by=tech)
        for _again in range(2):
            services.instrument_unchoose(job=job, use=use, by=tech)
        assert selectors.used_on(job) == []
        assert TrailEntry.objects.filter(job=job, kind="instrument.unchosen").count() == 1

    def test_a_retired_one_is_not_chosen_but_stays_where_it_was_used(self, job: Job, tech: User, car: Any) -> None:
        made = instrument(tech)
        services.instrument_choose(job=job, instrument=made, by=tech)
        services.instrument_retire(instrument=made, reason="fell down", by=tech)
        assert services.instrument_choose(job=job, instrument=made, by=tech).undone_at is None
        assert [use.instrument for use in selectors.used_on(job)] == [made]
        other = Job.objects.create(
            car=car, title="Next", stage="here", held_since=job.opened_at, opened_at=job.opened_at, opened_by=tech
        )
        with pytest.raises(Conflict, match="choose another one"):
            services.instrument_choose(job=other, instrument=made, by=tech)

    def test_what_this_person_used_last_is_offered_first(self, job: Job, tech: User, owner: User, car: Any) -> None:
        rows = [instrument(tech, name=f"Meter {n}", serial=f"S{n}") for n in range(5)]
        others = [
            Job.objects.create(
                car=car, title=f"{n}", stage="here", held_since=job.opened_at, opened_at=job.opened_at, opened_by=tech
            )
            for n in range(2)
        ]
        services.instrument_choose(job=others[0], instrument=rows[3], by=tech)
        services.instrument_choose(job=others[1], instrument=rows[4], by=owner)
        (kind,) = selectors.offered(job, tech)
        assert [one.instrument for one in kind.first][:2] == [rows[3], rows[4]]
        assert len(kind.first) == selectors.OFFERED
        assert len(kind.others) == 2

    def test_only_who_may_enter_readings_chooses(self, job: Job, tech: User, counter: User) -> None:
        with pytest.raises(Refused):
            services.instrument_choose(job=job, instrument=instrument(tech), by=counter)
        assert not InstrumentUse.objects.exists()

    def test_the_database_keeps_one_of_a_kind(self, job: Job, tech: User) -> None:
        use = services.instrument_choose(job=job, instrument=instrument(tech), by=tech)
        use.pk = None
        with pytest.raises(IntegrityError), transaction.atomic():
            use.save()


class TestPages:
    def test_an_empty_book_says_what_it_is_for(self, client_as: ClientAs) -> None:
        page = client_as("counter").get("/instruments/").content.decode()
        assert "No instrument is in the book" in page
        assert "Add an instrument" not in page

    def test_added_calibrated_and_struck_by_the_pages(self, client_as: ClientAs) -> None:
        client = client_as("technician")
        sent = {"kind": "multimeter", "name": "Bench meter 1", "serial": "LM-20417", "accuracy_percent": "0.3"}
        refused = client.post("/instruments/", sent)
        assert refused.status_code == 422
        assert "both parts of the accuracy" in refused.content.decode()
        assert client.post("/instruments/", {**sent, "accuracy_volts": "0.02"}, follow=True).status_code == 200
        address = Instrument.objects.get().get_absolute_url()
        typed = {
            "calibrated_on": f"{day(-400)}", "valid_until": f"{day(-35)}", "number": "K-7",
            "laboratory": "Messdienst Halden", "expanded_volts": "0.004",
        }  # fmt: skip
        page = client.post(f"{address}calibrations/", typed, follow=True).content.decode()
        assert "expired on" in page
        assert "U = 0.004 V" in page
        late = client.post(f"{address}calibrations/", {**typed, "calibrated_on": f"{day(3)}"})
        assert late.status_code == 422
        assert "expected today or earlier" in late.content.decode()
        struck = f"/calibrations/{Calibration.objects.get().pk}/strike/"
        assert client.post(struck, {"reason": ""}).status_code == 422
        assert "of another meter" in client.post(struck, {"reason": "of another meter"}, follow=True).content.decode()

    def test_retired_and_taken_back_by_the_page(self, client_as: ClientAs, tech: User) -> None:
        client, address = client_as("owner"), instrument(tech).get_absolute_url()
        page = client.post(f"{address}retire/", {"reason": "display broken"}, follow=True).content.decode()
        assert "display broken" in page
        assert "display broken" in client.get("/instruments/").content.decode()
        assert "never calibrated" in client.post(f"{address}return/", follow=True).content.decode()

    def test_chosen_in_one_click_and_undone_on_the_job(self, client_as: ClientAs, job: Job, tech: User) -> None:
        made = instrument(tech)
        client, htmx = client_as("technician"), {"HX-Request": "true"}
        address = f"/jobs/{job.pk}/instruments/"
        assert f'value="{made.pk}"' in client.get(address, headers=htmx).content.decode()
        page = client.post(f"{address}choose/", {"instrument": made.pk}, headers=htmx).content.decode()
        assert "Not this one" in page
        assert "<html" not in page
        use = InstrumentUse.objects.get()
        page = client.post(f"{address}undo/", {"use": use.pk}, headers=htmx).content.decode()
        assert "None is chosen" in page
        assert client.post(f"{address}choose/", {"instrument": made.pk}).url == job.get_absolute_url()  # type: ignore[attr-defined]

    @pytest.mark.parametrize("value", ["", "0", "none", "9" * 40, "-1", "٣"])
    def test_what_is_not_in_the_book_is_not_chosen(self, client_as: ClientAs, job: Job, value: str) -> None:
        client = client_as("technician")
        for name, act in (("instrument", "choose"), ("use", "undo")):
            assert client.post(f"/jobs/{job.pk}/instruments/{act}/", {name: value}).status_code == 422

    def test_the_use_of_another_job_is_not_undone(self, client_as: ClientAs, job: Job, tech: User, car: Any) -> None:
        use = services.instrument_choose(job=job, instrument=instrument(tech), by=tech)
        other = Job.objects.create(
            car=car, title="Next", stage="here", held_since=job.opened_at, opened_at=job.opened_at, opened_by=tech
        )
        assert client_as("technician").post(f"/jobs/{other.pk}/instruments/undo/", {"use": use.pk}).status_code == 422
        assert selectors.used_on(job)

    def test_an_expired_one_is_said_beside_the_job_on_whose_days_it_was(
        self, client_as: ClientAs, checked: Job, tech: User
    ) -> None:
        """A calibration that was valid when a finished job was inspected is nothing to warn of years later."""
        made, client, address = instrument(tech), client_as("counter"), f"/jobs/{checked.pk}/instruments/"
        calibration(made, tech, ago=500, lasts=365)
        services.instrument_choose(job=checked, instrument=made, by=tech)
        Check.objects.update(at=timezone.now() - dt.timedelta(days=200))
        assert "Its calibration expired on" in client.get(address).content.decode()
        Job.objects.update(stage="done", finished_at=timezone.now())
        assert "Its calibration expired on" not in client.get(address).content.decode()

    def test_a_long_book_takes_no_more_queries(self, client_as: ClientAs, checked: Job, tech: User) -> None:
        def queries() -> list[int]:
            counts = []
            for address in ("/instruments/", f"/jobs/{checked.pk}/instruments/", first.get_absolute_url()):
                with CaptureQueriesContext(connection) as caught:
                    assert client.get(address).status_code == 200
                counts.append(len(caught))
            return counts

        client, first = client_as("technician"), instrument(tech)
        calibration(first, tech)
        services.instrument_choose(job=checked, instrument=first, by=tech)
        few = queries()
        for number in range(9):
            more = instrument(tech, serial=f"N-{number}")
            calibration(more, tech)
            calibration(first, tech, ago=number)
        assert queries() == few
        assert max(few) < 12
