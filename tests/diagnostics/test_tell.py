"""The interview as customers have it: without a sign-in and without JavaScript, kept once, and no machine gets in."""

import re
import uuid
from collections.abc import Callable, Iterator
from html import unescape
from typing import Any

import pytest
from django.core.cache import cache, caches
from django.core.signing import TimestampSigner
from django.test import Client
from django.utils import timezone

from diagnostics import enquiry_forms, services
from diagnostics.models import Enquiry, SystemRevision
from diagnostics.selectors.enquiries import step_pictures
from shop.models import TrailEntry, User
from tests.diagnostics.enquiring import ANSWERS, text_of
from tests.diagnostics.systems import shipped
from tests.diagnostics.systems import text_of as text_of_system

pytestmark = pytest.mark.django_db
ClientAs = Callable[[str], Client]
PERSON = {"name": "Oda Marchbank", "phone": "555 0170", "email": "", "car": "", "words": "", "consent": "on"}


@pytest.fixture(autouse=True)
def _nobody_has_sent_yet() -> Iterator[None]:
    caches["counts"].clear()
    yield
    caches["counts"].clear()


def _stamp(seconds_ago: int = 60) -> str:
    """A stamp as the page would have carried it that long ago."""
    signer = TimestampSigner(salt="diagnostics.tell")
    now = timezone.now().timestamp()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("django.core.signing.time.time", lambda: now - seconds_ago)
        return signer.sign(uuid.uuid4().hex)


def _send(client: Client, **change: Any) -> Any:
    data = {"system": "rht-trio", "stamp": _stamp(), **ANSWERS, **PERSON, **change}
    return client.post("/tell/send/", data)


def _follow(client: Client, address: str) -> Iterator[str]:
    """The pages of the interview as somebody without JavaScript sees them, answering each with what ANSWERS say."""
    for _number in range(10):
        page = client.get(address).content.decode()
        yield page
        asked = re.search(r'<input type="(?:radio|checkbox)" name="(\w+)"', page)
        if asked is None or asked[1] == "consent":
            return
        fields = re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', page)
        query = "&".join(f"{name}={value}" for name, value in [*fields, (asked[1], ANSWERS.get(asked[1], "unknown"))])
        address = f"/tell/about/rht-trio/?{query}"
    raise AssertionError("the questions do not end")


def test_a_stranger_gets_from_the_first_page_to_thanks_without_javascript(revision: SystemRevision) -> None:
    client = Client()
    start = client.get("/tell/")
    assert revision.title in text_of(start)
    assert "Do not force the top" in text_of(start)
    pages = list(_follow(client, "/tell/about/rht-trio/"))
    assert 2 <= len(pages) - 1 <= 6
    last = pages[-1]
    assert last.index("Do not force the top") < last.index("What it probably is</h2>"), "the caution comes first"
    assert "this promises nothing" in last
    fields = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', last))
    fields["stamp"] = _stamp()
    answer = client.post("/tell/send/", {**fields, **PERSON, "words": "Since Tuesday"})
    kept = Enquiry.objects.get()
    assert answer["Location"] == f"/tell/sent/{kept.code}/"
    thanks = client.get(answer["Location"])
    assert f"Your enquiry {kept.number} is kept" in text_of(thanks)
    for secret in ("Oda", "Marchbank", "0170", "Since Tuesday"):
        assert secret not in text_of(thanks), "who has the address learns no name"
    assert kept.answers["stops"] == "raise-lid"
    assert kept.complaint["stops_at"] == "raise-lid"
    assert kept.complaint["sound"] == "silent"
    assert (kept.name, kept.words, kept.by, kept.state) == ("Oda Marchbank", "Since Tuesday", None, "new")


def test_who_does_not_know_the_top_tells_it_in_words(revision: SystemRevision) -> None:
    client = Client()
    assert "in your own words" in text_of(client.get("/tell/send/"))
    empty = client.post("/tell/send/", {**PERSON, "stamp": _stamp()})
    assert empty.status_code == 422
    assert not Enquiry.objects.exists()
    done = client.post("/tell/send/", {**PERSON, "stamp": _stamp(), "words": "It opens a hand and stops."})
    assert done.status_code == 302
    kept = Enquiry.objects.get()
    assert (kept.revision, kept.answers, kept.complaint) == (None, {}, {})
    assert "is kept" in text_of(client.get(done["Location"]))


def test_no_contact_stands_in_an_address_in_the_trail_or_in_the_log(
    revision: SystemRevision, owner: User, caplog: pytest.LogCaptureFixture
) -> None:
    answer = _send(Client(), words="My number is 555 0170")
    told = " ".join(f"{entry.words} {entry.link}" for entry in TrailEntry.objects.all())
    for secret in ("Oda", "0170"):
        assert secret not in answer["Location"] + told + caplog.text
    assert "Enquiry E" in told


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"name": " "}, "This field is required"),
        ({"phone": ""}, "Leave a telephone number or an e-mail address"),
        ({"email": "not an address"}, "valid email"),
        ({"consent": ""}, "Without your consent nothing is kept or sent."),
        ({"website": "http://x.example"}, "A field that must stay empty was filled in."),
        ({"words": "x" * 1501}, "at most 1500 characters"),
        ({"name": "x" * 121}, "at most 120 characters"),
        ({"stamp": ""}, "This page was open too long. Nothing is lost: send it again."),
        ({"stamp": "forged:1:x"}, "This page was open too long."),
    ],
)
def test_what_cannot_be_sent_comes_back_with_one_sentence_and_what_was_typed(
    revision: SystemRevision, change: dict[str, str], words: str
) -> None:
    answer = _send(Client(), **{"car": "Brise, 2014", **change})
    assert answer.status_code == 422
    assert words in text_of(answer)
    assert 'value="Brise, 2014"' in answer.content.decode()
    assert not Enquiry.objects.exists()


def test_a_page_of_yesterday_can_be_sent_again_at_once(revision: SystemRevision, settings: Any) -> None:
    client = Client()
    answer = _send(client, stamp=_stamp(13 * 3600))
    assert "open too long" in text_of(answer)
    new = re.search(r'name="stamp" value="([^"]+)"', answer.content.decode())
    assert new is not None
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(enquiry_forms, "FASTEST_S", -1)
        assert _send(client, stamp=unescape(new[1])).status_code == 302


def test_faster_than_anybody_types_is_no_person(revision: SystemRevision) -> None:
    answer = _send(Client(), stamp=_stamp(0))
    assert answer.status_code == 422
    assert "faster than anybody types" in text_of(answer)
    assert not Enquiry.objects.exists()


def test_the_same_sent_twice_is_kept_once_until_it_is_answered(revision: SystemRevision, counter: User) -> None:
    client = Client()
    first = _send(client)
    assert _send(client, name=" oda marchbank ")["Location"] == first["Location"]
    assert Enquiry.objects.count() == 1
    assert TrailEntry.objects.filter(kind="enquiry.sent").count() == 1
    services.enquiry_close(enquiry=Enquiry.objects.get(), by=counter)
    assert _send(client)["Location"] != first["Location"], "later it is a new enquiry"
    assert Enquiry.objects.count() == 2


def test_one_address_can_send_only_so_much_an_hour(revision: SystemRevision) -> None:
    client = Client()
    for number in range(enquiry_forms.SENDS_AN_HOUR):
        assert _send(client, words=f"try {number}").status_code == 302
    answer = _send(client, words="one more")
    assert answer.status_code == 429
    assert "Too much was sent from your address" in text_of(answer)
    assert "one more" in answer.content.decode(), "what was typed is still there"
    assert Enquiry.objects.count() == enquiry_forms.SENDS_AN_HOUR
    assert client.post("/tell/send/", {"system": "rht-trio"}, REMOTE_ADDR="192.0.2.7").status_code == 422
    data = {"system": "rht-trio", "stamp": _stamp(), **ANSWERS, **PERSON}
    assert client.post("/tell/send/", data, REMOTE_ADDR="192.0.2.7").status_code == 302, "others are not held up"


def test_behind_a_proxy_each_sender_is_counted_and_no_header_makes_a_new_one(
    revision: SystemRevision, settings: Any
) -> None:
    settings.PROXIES = 1
    client = Client(headers={"X-Forwarded-For": "198.51.100.1"})
    for number in range(enquiry_forms.SENDS_AN_HOUR):
        assert _send(client, words=f"try {number}").status_code == 302
    assert _send(Client(headers={"X-Forwarded-For": "203.0.113.5, 198.51.100.1"}), words="more").status_code == 429
    assert _send(Client(headers={"X-Forwarded-For": "198.51.100.2"}), words="more").status_code == 302


def test_one_line_is_one_sender_whatever_its_address(revision: SystemRevision, settings: Any) -> None:
    for number in range(enquiry_forms.SENDS_AN_HOUR):
        client = Client(REMOTE_ADDR=f"2001:db8:1:2::{number:x}")
        assert _send(client, words=f"try {number}").status_code == 302
    assert _send(Client(REMOTE_ADDR="2001:db8:1:2:ffff::1"), words="more").status_code == 429
    assert _send(Client(REMOTE_ADDR="2001:db8:1:3::1"), words="more").status_code == 302


def test_asking_for_many_pages_makes_no_room_for_sending_more(revision: SystemRevision) -> None:
    client = Client()
    for number in range(enquiry_forms.SENDS_AN_HOUR):
        _send(client, words=f"try {number}")
    for number in range(1000):  # as many pages would
        cache.set(f"page-{number}", number)
    assert _send(client, words="one more").status_code == 429


def test_what_is_typed_is_shown_as_typed(revision: SystemRevision, client_as: ClientAs) -> None:
    evil = "<script>alert(1)</script>{{ 7|add:7 }}"
    _send(Client(), name=evil, words=evil, car=evil)
    kept = Enquiry.objects.get()
    for address in ("/enquiries/", kept.get_absolute_url()):
        page = client_as("counter").get(address).content.decode()
        assert "<script>alert" not in page
        assert "&lt;script&gt;alert(1)" in page
        assert "{{ 7|add:7 }}" in page


def test_an_answer_that_nobody_offered_is_said(revision: SystemRevision) -> None:
    client = Client()
    answer = client.get("/tell/about/rht-trio/", {"fails": "fly"})
    assert answer.status_code == 422
    assert "“fly” is no answer" in text_of(answer)
    assert client.get("/tell/about/nothing/").status_code == 404
    assert client.get("/tell/sent/guessed/").status_code == 404
    assert _send(client, stops="nowhere").status_code == 422
    assert not Enquiry.objects.exists()


def test_pictures_go_by_the_text_of_a_revision_and_not_by_its_row(revision: SystemRevision) -> None:
    kept = step_pictures(revision, "close")
    assert step_pictures(revision, "close") is kept
    other = SystemRevision(pk=revision.pk, slug="soft-other", revision=9, text=text_of_system("softline-electro"))
    assert set(step_pictures(other, "close")) == set(shipped("softline-electro").step_names("close"))
