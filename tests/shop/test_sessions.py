"""Where somebody is signed in: kept, shown, ended; and a password changed or forgotten."""

import datetime as dt
import re
from collections.abc import Callable
from typing import Any

import pytest
from django.contrib.sessions.models import Session
from django.core import mail
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from shop import services
from shop.agents import agent_words
from shop.errors import Refused
from shop.models import SignedIn, TrailEntry, User
from shop.selectors.people import sessions_of
from shop.sessions import SEEN_EVERY
from tests.conftest import PASSWORD

pytestmark = pytest.mark.django_db

FIREFOX = "Mozilla/5.0 (Windows NT 10.0; Win64; x64; rv:140.0) Gecko/20100101 Firefox/140.0"
NEW = "quite-another-password"


def signed_in(username: str = "tech", **more: Any) -> Client:
    client = Client(**more)
    assert client.post("/sign-in/", {"username": username, "password": PASSWORD}).status_code == 302
    return client


def test_a_person_sees_where_they_are_signed_in(tech: User) -> None:
    signed_in(headers={"User-Agent": FIREFOX}, REMOTE_ADDR="192.0.2.7")
    here = signed_in(REMOTE_ADDR="2001:db8:1:2:3::4")
    page = here.get("/account/").content.decode()
    assert "Firefox on Windows" in page
    assert "192.0.2.7" in page
    assert "2001:db8:1:2::" in page
    assert page.count('<span class="tag tag-go">here</span>') == 1
    assert page.count("/end/") == 1  # not the one in hand


def test_a_sign_in_that_was_ended_ends_at_its_next_request(tech: User) -> None:
    elsewhere, here = signed_in(), signed_in()
    row = SignedIn.objects.order_by("pk")[0]
    assert here.post(f"/account/sign-ins/{row.pk}/end/")["Location"] == "/account/"
    assert elsewhere.get("/cars/")["Location"] == "/sign-in/?next=/cars/"
    assert here.get("/cars/").status_code == 200
    assert TrailEntry.objects.filter(by=tech, kind="person.signed-out").exists()


def test_all_others_are_ended_at_once(tech: User, counter: User) -> None:
    elsewhere, other, here = signed_in(), signed_in("counter"), signed_in()
    here.post("/account/sign-ins/end-others/")
    assert elsewhere.get("/").status_code == 302
    assert here.get("/").status_code == 200
    assert other.get("/").status_code == 200


def test_the_owner_ends_anybodys_and_nobody_else_does(
    tech: User, counter: User, client_as: Callable[[str], Client]
) -> None:
    theirs = signed_in()
    row = SignedIn.objects.get(user=tech)
    assert client_as("counter").post(f"/account/sign-ins/{row.pk}/end/").status_code == 403
    with pytest.raises(Refused):
        services.session_end(row=row, by=counter)
    assert theirs.get("/").status_code == 200
    assert client_as("owner").post(f"/account/sign-ins/{row.pk}/end/")["Location"] == f"/people/{tech.pk}/"
    assert theirs.get("/").status_code == 302


def test_signing_out_takes_the_sign_in_off_the_list(tech: User) -> None:
    client = signed_in()
    client.post("/sign-out/")
    assert sessions_of(tech) == []


def test_who_was_signed_in_before_this_was_kept_is_listed_from_now_on(tech: User) -> None:
    client = signed_in()
    SignedIn.objects.all().delete()
    assert client.get("/").status_code == 200
    assert SignedIn.objects.filter(user=tech, ended_at=None).count() == 1


def test_signing_in_where_somebody_else_is_signed_in_is_kept_at_once(tech: User, counter: User) -> None:
    """As who joins by an invitation in the owner's browser does."""
    client = signed_in()
    client.force_login(counter, backend="django.contrib.auth.backends.ModelBackend")
    assert len(sessions_of(counter)) == 1
    client.get("/")
    assert len(sessions_of(counter)) == 1


def test_when_somebody_was_last_seen_is_written_every_five_minutes_at_most(tech: User) -> None:
    client = signed_in()
    with CaptureQueriesContext(connection) as queries:
        client.get("/customers/")
    assert not [query for query in queries if query["sql"].startswith(("UPDATE", "INSERT"))]
    assert sum('"shop_signedin"' in query["sql"] for query in queries) == 1
    assert sum('FROM "shop_user"' in query["sql"] for query in queries) == 0  # read with it, not once more
    long_ago = timezone.now() - SEEN_EVERY - dt.timedelta(seconds=1)
    SignedIn.objects.update(seen_at=long_ago)
    client.get("/customers/")
    assert SignedIn.objects.get().seen_at > long_ago


def test_sign_ins_that_are_long_over_go_when_somebody_signs_in(tech: User) -> None:
    """And nothing that is younger, nor a browser that somebody still uses."""
    now, day = timezone.now(), dt.timedelta(days=1)
    over = {  # ended, last seen: days ago
        "ended long ago": (91, 100), "ended lately": (89, 100), "ran out long ago": (None, 105),
        "ran out lately": (None, 103), "in use": (None, 1),
    }  # fmt: skip
    for name, (ended, seen) in over.items():
        SignedIn.objects.create(
            user=tech, key=name, agent=name, since=now - 200 * day, seen_at=now - seen * day,
            ended_at=None if ended is None else now - ended * day,
        )  # fmt: skip
    Session.objects.create(session_key="old", session_data="x", expire_date=now - day)
    here = signed_in()
    kept = set(SignedIn.objects.exclude(agent="").values_list("agent", flat=True))
    assert kept == {"ended lately", "ran out lately", "in use"}
    assert not Session.objects.filter(session_key="old").exists()
    assert here.get("/cars/").status_code == 200


@pytest.mark.parametrize("what", ["password", "inactive", "backend", "person"])
def test_a_session_is_believed_as_django_believes_it(tech: User, counter: User, what: str) -> None:
    client = signed_in()
    session = client.session
    if what == "password":
        tech.set_password(NEW)
    if what == "inactive":
        tech.is_active = False
    tech.save()
    if what == "backend":
        session["_auth_user_backend"] = "elsewhere.Backend"
    if what == "person":
        session["_auth_user_id"] = str(counter.pk)
    session.save()
    assert client.get("/").status_code == 302


def test_changing_the_password_ends_the_others_and_not_this_one(tech: User) -> None:
    elsewhere, here = signed_in(), signed_in()
    wrong = here.post("/account/password/", {"old_password": "x", "new_password1": NEW, "new_password2": NEW})
    assert wrong.status_code == 422
    data = {"old_password": PASSWORD, "new_password1": NEW, "new_password2": NEW}
    assert here.post("/account/password/", data)["Location"] == "/account/"
    assert here.get("/").status_code == 200
    assert elsewhere.get("/").status_code == 302
    (row,) = sessions_of(tech)
    assert SignedIn.objects.filter(user=tech).count() == 2  # it kept its row under its new key
    assert row.ended_at is None
    assert TrailEntry.objects.filter(by=tech, kind="person.password").count() == 1


def _mailed_link() -> str:
    found = re.search(r"http://testserver(/sign-in/new-password/\S+)", mail.outbox[-1].body)
    assert found
    return found[1]


@pytest.fixture
def known(tech: User) -> User:
    tech.email = "mara@post.example"
    tech.save()
    return tech


def test_a_forgotten_password_is_chosen_anew_by_a_mail(known: User) -> None:
    elsewhere, client = signed_in(), Client()
    assert client.post("/sign-in/forgotten/", {"email": "Mara@post.example"})["Location"] == "/sign-in/"
    link = _mailed_link()
    form = client.get(link)["Location"]
    assert "set-password" in form  # the secret leaves the address at once
    assert client.post(form, {"new_password1": "short", "new_password2": "short"}).status_code == 422
    assert client.post(form, {"new_password1": NEW, "new_password2": NEW})["Location"] == "/sign-in/"
    assert elsewhere.get("/").status_code == 302
    assert Client().post("/sign-in/", {"username": "tech", "password": NEW}).status_code == 302
    again = Client().get(link)
    assert again.status_code == 404
    assert "This link opens nothing" in again.content.decode()


def test_the_link_leads_to_https_behind_a_proxy_that_speaks_it(known: User, settings: Any) -> None:
    settings.SESSION_COOKIE_SECURE = True
    Client().post("/sign-in/forgotten/", {"email": known.email})
    assert "https://testserver/sign-in/new-password/" in mail.outbox[0].body


def test_nobody_learns_which_addresses_are_known(known: User) -> None:
    answers = [
        Client().post("/sign-in/forgotten/", {"email": email}, follow=True).content.decode()
        for email in (known.email, "nobody@post.example")
    ]
    assert len(mail.outbox) == 1
    said = "If somebody here has this address"
    assert said in answers[0]
    assert said in answers[1]


def test_mails_are_not_asked_for_without_end(known: User) -> None:
    for _mail in range(10):
        Client().post("/sign-in/forgotten/", {"email": known.email})
    assert Client().post("/sign-in/forgotten/", {"email": known.email}).status_code == 429
    assert len(mail.outbox) == 10


@pytest.mark.parametrize(
    ("agent", "words"),
    [
        (FIREFOX, "Firefox on Windows"),
        (
            "Mozilla/5.0 (Windows NT 10.0; Win64; x64) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/138.0.0.0 "
            "Safari/537.36 Edg/138.0.0.0",
            "Edge on Windows",
        ),
        (
            "Mozilla/5.0 (Linux; Android 10; K) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/138.0.0.0 Mobile "
            "Safari/537.36",
            "Chrome on Android",
        ),
        (
            "Mozilla/5.0 (iPhone; CPU iPhone OS 18_5 like Mac OS X) AppleWebKit/605.1.15 (KHTML, like Gecko) "
            "Version/18.5 Mobile/15E148 Safari/604.1",
            "Safari on iPhone",
        ),
        ("curl/8", "a browser that does not say which"),
        ("", "a browser that does not say which"),
    ],
)
def test_a_browser_in_words(agent: str, words: str) -> None:
    assert agent_words(agent) == words
