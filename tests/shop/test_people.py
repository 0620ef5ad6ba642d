"""The people of the shop: invited, joined, given another role, gone; and what was done by whom."""

import datetime as dt
import logging
import re
import threading
from collections.abc import Callable
from typing import Any

import pytest
from axes.models import AccessLog
from django.core import mail
from django.db import connection, connections
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from shop import services
from shop.errors import Conflict, Refused, ShopError
from shop.models import Invitation, Role, ShopProfile, TrailEntry, User
from shop.selectors import people as reads
from tests.conftest import PASSWORD

pytestmark = pytest.mark.django_db

IDA = {"name": "Ida Holt", "email": "ida@post.example", "role": "counter"}
CHOSEN = {"username": "ida", "password1": "a-long-way-round", "password2": "a-long-way-round"}


@pytest.fixture
def link(client_as: Callable[[str], Client]) -> str:
    """The path of an invitation that the owner has just made."""
    return _link(client_as("owner").post("/people/invite/", IDA))


def _link(answer: Any) -> str:
    found = re.search(r'value="http://testserver(/join/[\w-]{43}/)"', answer.content.decode())
    assert found
    return found[1]


def test_an_invited_person_gets_a_mail_and_joins_with_their_role(client_as: Callable[[str], Client]) -> None:
    ShopProfile.objects.create(pk=1, name="Verdeckwerk\nHalden", address="x")
    answer = client_as("owner").post("/people/invite/", IDA)
    link = _link(answer)
    assert "no-store" in answer["Cache-Control"]
    (sent,) = mail.outbox
    assert sent.to == ["ida@post.example"]
    assert sent.subject == "Your sign-in at Verdeckwerk Halden"
    assert f"http://testserver{link}" in sent.body
    assert "as Counter" in sent.body
    client = Client()
    page = client.get(link)
    assert "Welcome, Ida Holt" in page.content.decode()
    assert page["Referrer-Policy"] == "strict-origin"  # never the path, which holds the secret
    assert "no-store" in page["Cache-Control"]
    assert client.post(link, CHOSEN)["Location"] == "/"
    assert "Ida Holt" in client.get("/").content.decode()
    ida = User.objects.get(username="ida")
    assert (ida.role, ida.email, ida.first_name, ida.last_name) == ("counter", "ida@post.example", "Ida", "Holt")
    assert ida.check_password(CHOSEN["password1"])
    assert ida.invitation.accepted_at is not None


def test_an_invitation_works_once_and_then_looks_like_none(link: str) -> None:
    unknown = Client().get(f"/join/{'x' * 43}/")
    assert Client().post(link, CHOSEN).status_code == 302
    for answer in (Client().get(link), Client().post(link, {**CHOSEN, "username": "other"})):
        assert answer.status_code == unknown.status_code == 404
        assert "This invitation opens nothing" in answer.content.decode()
        assert "This invitation opens nothing" in unknown.content.decode()
    assert User.objects.filter(email="ida@post.example").count() == 1


@pytest.mark.parametrize("what", ["expired", "revoked", "sent again"])
def test_an_invitation_that_is_good_no_more_opens_nothing(
    link: str, what: str, client_as: Callable[[str], Client]
) -> None:
    made, newer = Invitation.objects.get(), ""
    if what == "expired":
        Invitation.objects.update(expires_at=timezone.now() - dt.timedelta(seconds=1))
    else:
        answer = client_as("owner").post(
            f"/people/invitations/{made.pk}/{'revoke' if what == 'revoked' else 'resend'}/"
        )
        newer = _link(answer) if what == "sent again" else ""
    assert Client().get(link).status_code == 404
    assert Client().post(link, CHOSEN).status_code == 404
    assert not User.objects.filter(username="ida").exists()
    if newer:
        assert Client().get(newer).status_code == 200
        assert len(mail.outbox) == 2


def test_an_invitation_is_good_for_seven_days(owner: User) -> None:
    made, _token = services.invitation_make(by=owner, **IDA)
    assert made.expires_at - made.made_at == dt.timedelta(days=7)


def test_two_tabs_make_one_person(owner: User) -> None:
    _made, token = services.invitation_make(by=owner, **IDA)
    first, second = reads.invitation_behind(token), reads.invitation_behind(token)
    assert first
    assert second
    services.invitation_accept(invitation=first, username="ida", password=PASSWORD)
    with pytest.raises(Conflict, match="accepted already"):
        services.invitation_accept(invitation=second, username="ida2", password=PASSWORD)
    assert not User.objects.filter(username="ida2").exists()


def test_an_old_tab_does_not_outlive_a_new_invitation(owner: User) -> None:
    _made, token = services.invitation_make(by=owner, **IDA)
    tab = reads.invitation_behind(token)
    assert tab
    services.invitation_resend(invitation=tab, by=owner)
    with pytest.raises(Conflict, match="run out or was replaced"):
        services.invitation_accept(invitation=tab, username="ida", password=PASSWORD)


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"username": "tech"}, "already exists"),
        ({"username": "TECH"}, "already exists"),
        ({"username": "a b"}, "valid username"),
        ({"password2": "another-one"}, "match"),
        ({"password1": "short", "password2": "short"}, "too short"),
        ({"password1": "idaholtida", "password2": "idaholtida", "username": "idaholtida"}, "too similar"),
        ({"password1": "password1", "password2": "password1"}, "too common"),
    ],
)
def test_a_name_taken_or_a_weak_password_is_told_and_the_invitation_stays(
    link: str, wrong: dict[str, str], words: str
) -> None:
    answer = Client().post(link, CHOSEN | wrong)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert Client().get(link).status_code == 200


def test_a_name_taken_at_the_same_moment_is_told(link: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("shop.people_forms.JoinForm.clean_username", lambda form: form.cleaned_data["username"])
    monkeypatch.setattr("shop.people_forms.JoinForm.validate_unique", lambda form: None)
    answer = Client().post(link, CHOSEN | {"username": "tech"})
    assert answer.status_code == 422
    assert "just taken the user name tech" in answer.content.decode()


def test_nobody_is_invited_twice_or_when_they_work_here(owner: User, tech: User) -> None:
    services.invitation_make(by=owner, **IDA)
    with pytest.raises(Conflict, match="invited already"):
        services.invitation_make(by=owner, **(IDA | {"email": "IDA@post.example"}))
    tech.email = "mara@post.example"
    tech.save()
    with pytest.raises(Conflict, match="works here already"):
        services.invitation_make(by=owner, **(IDA | {"email": "Mara@post.example"}))
    assert Invitation.objects.count() == 1


def test_what_is_wrong_with_an_invitation_is_told_on_the_form(client_as: Callable[[str], Client]) -> None:
    client = client_as("owner")
    client.post("/people/invite/", IDA)
    answer = client.post("/people/invite/", IDA)
    assert answer.status_code == 409
    assert "is invited already" in answer.content.decode()
    assert client.post("/people/invite/", IDA | {"role": "king", "email": "no"}).status_code == 422
    assert len(mail.outbox) == 1


def test_a_mail_server_that_does_not_answer_loses_nothing(
    client_as: Callable[[str], Client], monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_args: object) -> None:
        raise ConnectionRefusedError

    monkeypatch.setattr("shop.views.people.send_mail", broken)
    answer = client_as("owner").post("/people/invite/", IDA)
    assert "The mail server did not take it" in answer.content.decode()
    assert Client().get(_link(answer)).status_code == 200


def test_the_secret_of_an_invitation_is_kept_nowhere(link: str, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.DEBUG)
    Client().get(link)
    Client().post(link, CHOSEN)
    token = link.split("/")[2]
    kept = [*Invitation.objects.values_list("token_hash"), *TrailEntry.objects.values_list("words", "link")]
    kept += AccessLog.objects.values_list("path_info")
    assert not any(token in str(row) for row in kept)
    assert token not in caplog.text


def test_trying_many_addresses_ends(link: str) -> None:
    for _try in range(30):
        assert Client().get(f"/join/{'y' * 43}/").status_code == 404
    assert Client().get(f"/join/{'y' * 43}/").status_code == 429
    assert Client().get(link).status_code == 200  # looking at a good one is nothing to count


def test_another_role_signs_out_and_stands_in_the_trail(client_as: Callable[[str], Client], tech: User) -> None:
    signed_in = client_as("technician")
    assert client_as("owner").post(f"/people/{tech.pk}/role/", {"role": "counter"}).status_code == 302
    assert signed_in.get("/").status_code == 302
    tech.refresh_from_db()
    assert tech.role == "counter"
    entry = TrailEntry.objects.get(kind="person.role")
    assert entry.words == "Role of tech: Counter, before Technician."
    assert client_as("owner").post(f"/people/{tech.pk}/role/", {"role": "king"}).status_code == 422


def test_who_leaves_cannot_sign_in_and_nothing_of_theirs_is_lost(
    client_as: Callable[[str], Client], tech: User, owner: User, car: Any
) -> None:
    services.odometer_add(car=car, by=owner, km=5, read_on=dt.date(2020, 1, 1))
    entry = services.trail_record(by=tech, kind="car.looked", words="as it was", car=car)
    signed_in = client_as("technician")
    client_as("owner").post(f"/people/{tech.pk}/leave/")
    assert signed_in.get("/").status_code == 302
    assert Client().post("/sign-in/", {"username": "tech", "password": PASSWORD}).status_code == 422
    assert TrailEntry.objects.get(pk=entry.pk).by == tech
    page = client_as("owner").get(f"/people/{tech.pk}/").content.decode()
    assert "as it was" in page
    assert "has left" in page
    client_as("owner").post(f"/people/{tech.pk}/return/")
    assert Client().post("/sign-in/", {"username": "tech", "password": PASSWORD}).status_code == 302


def test_the_last_owner_stays_one_and_is_told_why(client_as: Callable[[str], Client], owner: User) -> None:
    for address, data in ((f"/people/{owner.pk}/leave/", {}), (f"/people/{owner.pk}/role/", {"role": "parts"})):
        answer = client_as("owner").post(address, data)
        assert answer.status_code == 422
        assert "is the last owner of the shop" in answer.content.decode()
    owner.refresh_from_db()
    assert (owner.role, owner.is_active) == (Role.OWNER, True)


def test_an_owner_who_has_left_does_not_count(owner: User) -> None:
    User.objects.create_user("second", role=Role.OWNER, is_active=False)
    with pytest.raises(ShopError, match="last owner"):
        services.person_leave(person=owner, by=owner)


def test_with_a_second_owner_the_first_may_go(owner: User) -> None:
    second = User.objects.create_user("second", role=Role.OWNER)
    services.person_leave(person=owner, by=owner)
    with pytest.raises(Refused):  # and may then do nothing more
        services.person_set_role(person=second, by=owner, role="parts")


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("act", ["leave", "role"])
def test_two_owners_do_not_put_each_other_out_at_once(owner: User, act: str) -> None:
    second = User.objects.create_user("second", role=Role.OWNER)
    start, failed = threading.Barrier(2), []

    def go(by: User, person: User) -> None:
        start.wait()
        try:
            if act == "leave":
                services.person_leave(person=person, by=by)
            else:
                services.person_set_role(person=person, by=by, role="parts")
        except ShopError as error:
            failed.append(error)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=go, args=pair) for pair in ((owner, second), (second, owner))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert User.objects.filter(role=Role.OWNER, is_active=True).count() == 1
    assert [type(error) for error in failed] == [Refused]


def test_what_was_done_by_whom_by_kind_and_day(client_as: Callable[[str], Client], tech: User, car: Any) -> None:
    services.trail_record(by=tech, kind="check.added", words="a pin was read", car=car)
    services.trail_record(by=tech, kind="person.password", words="another password", car=None)
    client = client_as("owner")
    at = f"/people/{tech.pk}/"
    both = client.get(at).content.decode()
    assert "a pin was read" in both
    assert "another password" in both
    assert "New customer: Ada Quill" not in both  # done by the counter
    page = client.get(at, {"only": "checks"}).content.decode()
    assert "a pin was read" in page
    assert "another password" not in page
    today = timezone.localdate()
    assert "a pin was read" in client.get(at, {"day": today.isoformat()}).content.decode()
    yesterday = (today - dt.timedelta(days=1)).isoformat()
    assert "Nothing of this kind and day" in client.get(at, {"day": yesterday}).content.decode()
    assert "Enter a valid date" in client.get(at, {"day": "tomorrow"}).content.decode()


def test_a_day_is_one_of_the_shop_s_zone(tech: User) -> None:
    with timezone.override("Pacific/Auckland"):
        day = timezone.localtime(services.trail_record(by=tech, kind="car.looked", words="x").at).date()
        assert reads.done_by(tech, day=day).count() == 1
        assert reads.done_by(tech, day=day + dt.timedelta(days=1)).count() == 0


def test_a_long_trail_is_paged(client_as: Callable[[str], Client], tech: User) -> None:
    for number in range(45):
        services.trail_record(by=tech, kind="car.looked", words=f"look {number} of many")
    client = client_as("owner")
    assert client.get(f"/people/{tech.pk}/").content.decode().count("of many") == 40
    assert client.get(f"/people/{tech.pk}/?page=2").content.decode().count("of many") == 5


def test_pages_of_people_ask_no_more_when_there_are_more(client_as: Callable[[str], Client], owner: User) -> None:
    client = client_as("owner")

    def asked() -> int:
        client.get("/people/")
        with CaptureQueriesContext(connection) as queries:
            client.get("/people/")
        return len(queries)

    services.invitation_make(by=owner, **IDA)
    few = asked()
    for number in range(15):
        User.objects.create_user(f"p{number}")
        services.invitation_make(by=owner, **(IDA | {"email": f"p{number}@post.example"}))
    assert asked() == few
