"""The second factor: set up with a code, asked for after the password, a code counts once, and who needs one comes no
further without it."""

import datetime as dt
import io
import re
from collections.abc import Callable
from typing import Any

import pyotp
import pytest
from axes.models import AccessAttempt
from django.conf import settings as project
from django.core.management import CommandError, call_command
from django.test import Client
from django.utils import timezone

from shop import second_factor as codes
from shop import services
from shop.errors import Conflict, Refused, ShopError, TooMany
from shop.hidden import hide, shown
from shop.models import Car, RecoveryCode, SecondFactor, SignedIn, TrailEntry, User
from shop.services import second_factor as service
from shop.views import sign_in as views
from tests.conftest import PASSWORD

pytestmark = pytest.mark.django_db

NOW = dt.datetime(2030, 5, 6, 12, 0, 10, tzinfo=dt.UTC)


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Callable[[dt.datetime], None]:
    """Set the time that the service reads."""

    def at(when: dt.datetime) -> None:
        monkeypatch.setattr(service.timezone, "now", lambda: when)

    return at


def code_of(secret: str, at: dt.datetime | None = None, steps: int = 1) -> str:
    """The code of the step after now, which counts too: it does so still when a step ends in the middle of a test."""
    return pyotp.TOTP(secret).at((at or timezone.now()) + steps * dt.timedelta(seconds=codes.STEP_SECONDS))


def set_up(user: User) -> tuple[str, list[str]]:
    """The secret and the recovery codes of a person who has just set it up with the code of now."""
    secret = codes.new_secret()
    return secret, services.second_factor_set_up(user=user, secret=secret, code=code_of(secret, steps=0))


def half_signed_in(username: str, after: str = "") -> Client:
    client = Client()
    answer = client.post("/sign-in/", {"username": username, "password": PASSWORD, "next": after})
    assert answer["Location"].startswith("/sign-in/code/")
    return client


def test_the_code_is_asked_for_after_the_password_and_leads_to_where_one_was_going(tech: User) -> None:
    secret, _recovery = set_up(tech)
    client = half_signed_in("tech", "/cars/?q=x")
    page = client.get("/sign-in/code/?next=/cars/%3Fq%3Dx")
    assert "type the code that it shows" in page.content.decode()
    assert 'value="/cars/?q=x"' in page.content.decode()
    answer = client.post("/sign-in/code/", {"code": code_of(secret), "next": "/cars/?q=x"})
    assert answer["Location"] == "/cars/?q=x"
    assert client.get("/").status_code == 200


def test_nobody_is_sent_to_another_site_after_the_code(tech: User) -> None:
    secret, _recovery = set_up(tech)
    answer = half_signed_in("tech").post("/sign-in/code/", {"code": code_of(secret), "next": "https://x.example/"})
    assert answer["Location"] == "/"


def test_a_half_session_opens_nothing_else(tech: User, car: Car) -> None:
    set_up(tech)
    client = half_signed_in("tech")
    before = TrailEntry.objects.count()
    for address in ("/", car.get_absolute_url(), "/account/", "/account/second-factor/", "/people/"):
        assert client.get(address)["Location"].startswith("/sign-in/?next="), address
    for address in ("/account/second-factor/act/", "/account/password/", "/account/sign-ins/end-others/"):
        assert client.post(address, {"code": "1"})["Location"].startswith("/sign-in/"), address
    assert TrailEntry.objects.count() == before
    assert not SignedIn.objects.filter(user=tech).exists()


def test_the_page_for_the_code_needs_a_password_first_and_is_open_ten_minutes(
    tech: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    secret, _recovery = set_up(tech)
    answer = Client().post("/sign-in/code/", {"code": code_of(secret)})
    assert answer["Location"] == "/sign-in/"
    client = half_signed_in("tech")
    later = timezone.now() + dt.timedelta(seconds=views.HALF_SECONDS + 1)
    monkeypatch.setattr(views.timezone, "now", lambda: later)
    answer = client.post("/sign-in/code/", {"code": code_of(secret)}, follow=True)
    assert "Sign in with your password first" in answer.content.decode()


@pytest.mark.parametrize("meanwhile", ["password", "left"])
def test_a_half_session_ends_when_the_password_changes_or_the_person_leaves(tech: User, meanwhile: str) -> None:
    secret, _recovery = set_up(tech)
    client = half_signed_in("tech")
    if meanwhile == "password":
        tech.set_password("other-words-entirely")
    tech.is_active = meanwhile != "left"
    tech.save()
    assert client.post("/sign-in/code/", {"code": code_of(secret)})["Location"] == "/sign-in/"
    assert client.get("/").status_code == 302


def test_a_code_counts_once_and_no_earlier_one_after_it(tech: User, clock: Callable[[dt.datetime], None]) -> None:
    clock(NOW)
    secret = codes.new_secret()
    services.second_factor_set_up(user=tech, secret=secret, code=code_of(secret, NOW, -1))
    assert not service.code_counts(user=tech, code=code_of(secret, NOW, -1))  # the one it was set up with
    assert service.code_counts(user=tech, code=code_of(secret, NOW, 0))
    assert not service.code_counts(user=tech, code=code_of(secret, NOW, 0))
    assert service.code_counts(user=tech, code=code_of(secret, NOW, 1))
    assert not service.code_counts(user=tech, code=code_of(secret, NOW, 0))


@pytest.mark.parametrize(("steps", "counts"), [(-2, False), (-1, True), (0, True), (1, True), (2, False)])
def test_a_clock_may_be_wrong_by_one_step(
    tech: User, clock: Callable[[dt.datetime], None], steps: int, counts: bool
) -> None:
    secret = codes.new_secret()
    clock(NOW - dt.timedelta(hours=1))
    services.second_factor_set_up(user=tech, secret=secret, code=code_of(secret, NOW - dt.timedelta(hours=1)))
    clock(NOW)
    assert service.code_counts(user=tech, code=code_of(secret, NOW, steps)) is counts


def test_spaces_in_a_code_and_small_letters_do_not_matter(tech: User) -> None:
    secret, recovery = set_up(tech)
    code = code_of(secret)
    assert service.code_counts(user=tech, code=f" {code[:3]} {code[3:]} ")
    assert service.code_counts(user=tech, code=recovery[0].lower().replace("-", " "))


def test_a_recovery_code_lets_in_once(tech: User) -> None:
    _secret, recovery = set_up(tech)
    assert len(set(recovery)) == 10
    assert half_signed_in("tech").post("/sign-in/code/", {"code": recovery[3]})["Location"] == "/"
    answer = half_signed_in("tech").post("/sign-in/code/", {"code": recovery[3]})
    assert answer.status_code == 422
    assert "This code does not count" in answer.content.decode()
    assert RecoveryCode.objects.filter(user=tech, used_at=None).count() == 9


def test_a_code_of_somebody_else_does_not_count(tech: User, counter: User) -> None:
    set_up(tech)
    secret, recovery = set_up(counter)
    assert not service.code_counts(user=tech, code=code_of(secret))
    assert not service.code_counts(user=tech, code=recovery[0])


def test_wrong_codes_lock_as_wrong_passwords_do(tech: User) -> None:
    secret, _recovery = set_up(tech)
    client = half_signed_in("tech")
    for _try in range(project.AXES_FAILURE_LIMIT):
        answer = client.post("/sign-in/code/", {"code": "000000"})
    assert answer.status_code == 429
    assert client.post("/sign-in/code/", {"code": code_of(secret)}).status_code == 429
    assert Client().post("/sign-in/", {"username": "tech", "password": PASSWORD}).status_code == 429
    assert "000000" not in str(list(AccessAttempt.objects.values_list()))


def test_a_right_password_in_between_does_not_start_the_count_anew(tech: User) -> None:
    set_up(tech)
    for _try in range(project.AXES_FAILURE_LIMIT):
        answer = half_signed_in("tech").post("/sign-in/code/", {"code": "AAAA-AAAA-AAAA"})
    assert answer.status_code == 429


def test_guessing_from_many_addresses_ends_too(tech: User) -> None:
    """The lock-out looks at one address; this count looks at the person."""
    secret, recovery = set_up(tech)
    for _try in range(service.TRIES_AN_HOUR):
        assert not service.code_counts(user=tech, code="BBBB-BBBB-BBBB")
    with pytest.raises(TooMany):
        service.code_counts(user=tech, code=recovery[0])
    answer = half_signed_in("tech").post("/sign-in/code/", {"code": code_of(secret)})
    assert answer.status_code == 429
    assert "Too many codes were tried" in answer.content.decode()


def test_the_database_alone_tells_no_secret(tech: User, settings: Any) -> None:
    secret, recovery = set_up(tech)
    kept = SecondFactor.objects.get(user=tech).secret
    assert secret not in kept
    assert shown(kept) == secret
    hashes = list(RecoveryCode.objects.values_list("code_hash", flat=True))
    assert not any(codes.tidy(code) in hashed for code in recovery for hashed in hashes)
    settings.SECRET_KEY = "another installation's"
    assert shown(kept) is None
    with pytest.raises(ShopError, match="cannot be read with this installation’s key"):
        service.code_counts(user=tech, code=code_of(secret))
    assert service.code_counts(user=tech, code=recovery[0])


def test_what_is_hidden_can_not_be_changed_or_kept_for_long(monkeypatch: pytest.MonkeyPatch) -> None:
    hidden = hide("1:ABC")
    assert shown(hidden, at_most_seconds=60) == "1:ABC"
    assert shown(hidden[:-3] + "AA=") is None
    assert shown("") is None
    monkeypatch.setattr("time.time", lambda: timezone.now().timestamp() + 61)
    assert shown(hidden, at_most_seconds=60) is None


def _page_secret(page: str) -> tuple[str, str]:
    """The secret that the page shows in groups of four, and the field that carries it hidden."""
    secret = re.search(r'<span class="mono">([A-Z2-7 ]{39})</span>', page)
    field = re.search(r'name="hidden" value="([^"]+)"', page)
    assert secret
    assert field
    return secret[1].replace(" ", ""), field[1]


def test_it_is_set_up_with_a_code_and_the_recovery_codes_are_shown_once(client_as: Callable[[str], Client]) -> None:
    client = client_as("technician")
    page = client.get("/account/second-factor/")
    assert "no-store" in page["Cache-Control"]
    secret, field = _page_secret(page.content.decode())
    assert "<svg" in page.content.decode()
    assert "style=" not in page.content.decode()
    answer = client.post("/account/second-factor/", {"hidden": field, "code": "123"})
    assert answer.status_code == 422
    assert _page_secret(answer.content.decode())[0] == secret  # the telephone has it already
    assert not SecondFactor.objects.exists()
    answer = client.post("/account/second-factor/", {"hidden": field, "code": code_of(secret)})
    shown_codes = re.findall(r">([A-Z2-9]{4}-[A-Z2-9]{4}-[A-Z2-9]{4})<", answer.content.decode())
    assert len(shown_codes) == 10
    assert "no-store" in answer["Cache-Control"]
    for address in ("/account/", "/account/second-factor/"):
        assert shown_codes[0] not in client.get(address).content.decode()
    assert "10 left" in client.get("/account/").content.decode()


def test_a_secret_of_another_person_or_an_old_page_is_not_taken(client_as: Callable[[str], Client], tech: User) -> None:
    secret = codes.new_secret()
    for field in (hide(f"{tech.pk + 1}:{secret}"), "forged", ""):
        answer = client_as("technician").post("/account/second-factor/", {"hidden": field, "code": code_of(secret)})
        assert answer.status_code == 302
    assert not SecondFactor.objects.exists()


def test_two_tabs_set_up_one_second_factor(client_as: Callable[[str], Client], tech: User) -> None:
    client = client_as("technician")
    first = _page_secret(client.get("/account/second-factor/").content.decode())
    second = _page_secret(client.get("/account/second-factor/").content.decode())
    client.post("/account/second-factor/", {"hidden": second[1], "code": code_of(second[0])})
    answer = client.post("/account/second-factor/", {"hidden": first[1], "code": code_of(first[0])})
    assert "recovery codes left" in answer.content.decode()
    kept = SecondFactor.objects.get(user=tech)
    assert shown(kept.secret) == second[0]
    with pytest.raises(Conflict):
        services.second_factor_set_up(user=tech, secret=first[0], code=code_of(first[0]))


@pytest.mark.parametrize("role", ["owner", "parts"])
def test_who_needs_it_is_led_to_set_it_up_and_can_do_nothing_else(
    client_as: Callable[[str], Client], settings: Any, car: Car, role: str
) -> None:
    client = client_as(role)
    settings.SECOND_FACTOR = True
    for address in ("/", car.get_absolute_url(), "/shelf/", "/people/", "/account/", "/account/password/"):
        assert client.get(address)["Location"] == "/account/second-factor/", address
    before = TrailEntry.objects.count()
    assert client.post("/shelf/parts/", {"number": "TW-ZZZ-0001", "name": "Clip"})["Location"].endswith("-factor/")
    assert client.get("/cars/", headers={"HX-Request": "true"})["HX-Redirect"] == "/account/second-factor/"
    assert TrailEntry.objects.count() == before
    assert client.get("/tell/").status_code == 200  # what is for everybody
    secret, field = _page_secret(client.get("/account/second-factor/").content.decode())
    client.post("/account/second-factor/", {"hidden": field, "code": code_of(secret)})
    assert client.get("/").status_code == 200
    assert client.post("/sign-out/").status_code == 302


@pytest.mark.parametrize("role", ["technician", "counter"])
def test_for_technician_and_counter_it_is_optional(
    client_as: Callable[[str], Client], settings: Any, role: str
) -> None:
    settings.SECOND_FACTOR = True
    assert client_as(role).get("/").status_code == 200


def test_by_default_it_is_on_and_the_demo_people_alone_are_let_off(owner: User, settings: Any) -> None:
    from shop.settings import SECOND_FACTOR

    assert SECOND_FACTOR is True
    settings.SECOND_FACTOR = True
    assert codes.needed_by(owner)
    assert not codes.needed_by(User(role="owner", second_factor_waived=True))
    assert User._meta.get_field("second_factor_waived").default is False


def test_a_session_that_never_gave_a_code_ends_once_there_is_a_second_factor(
    client_as: Callable[[str], Client], settings: Any, owner: User
) -> None:
    client = client_as("owner")
    set_up(owner)
    settings.SECOND_FACTOR = True
    assert client.get("/")["Location"] == "/sign-in/"
    assert client.get("/account/second-factor/")["Location"].startswith("/sign-in/")


def test_setting_it_up_ends_the_other_sign_ins(client_as: Callable[[str], Client], tech: User) -> None:
    elsewhere, here = client_as("technician"), client_as("technician")
    secret, field = _page_secret(here.get("/account/second-factor/").content.decode())
    here.post("/account/second-factor/", {"hidden": field, "code": code_of(secret)})
    assert here.get("/").status_code == 200
    assert elsewhere.get("/").status_code == 302


def test_it_is_taken_away_and_codes_are_renewed_only_with_a_code(
    client_as: Callable[[str], Client], tech: User
) -> None:
    secret, recovery = set_up(tech)
    client = client_as("technician")
    for act in ("codes", "remove"):
        answer = client.post("/account/second-factor/act/", {"act": act, "code": "111111"})
        assert answer.status_code == 422
    assert SecondFactor.objects.filter(user=tech).exists()
    answer = client.post("/account/second-factor/act/", {"act": "codes", "code": code_of(secret)})
    renewed = re.findall(r">([A-Z2-9]{4}-[A-Z2-9]{4}-[A-Z2-9]{4})<", answer.content.decode())
    assert not set(renewed) & set(recovery)
    assert not service.code_counts(user=tech, code=recovery[0])
    client.post("/account/second-factor/act/", {"act": "remove", "code": renewed[0]})
    assert not SecondFactor.objects.filter(user=tech).exists()
    assert not RecoveryCode.objects.filter(user=tech).exists()


def test_the_owner_resets_the_second_factor_of_another_and_not_their_own(
    client_as: Callable[[str], Client], tech: User, owner: User
) -> None:
    set_up(tech)
    set_up(owner)
    signed_in = client_as("technician")
    assert client_as("owner").post(f"/people/{tech.pk}/second-factor/reset/").status_code == 302
    assert not SecondFactor.objects.filter(user=tech).exists()
    assert signed_in.get("/").status_code == 302
    assert TrailEntry.objects.filter(by=owner, kind="person.second-factor", words__contains="was reset").exists()
    with pytest.raises(Refused, match="Take your own second factor away under My account"):
        services.second_factor_reset(person=owner, by=owner)
    with pytest.raises(Conflict):
        services.second_factor_reset(person=tech, by=owner)
    with pytest.raises(Refused):
        services.second_factor_reset(person=owner, by=tech)


def test_no_code_and_no_secret_stands_in_the_trail(tech: User) -> None:
    secret, recovery = set_up(tech)
    renewed = services.recovery_codes_renew(user=tech, code=recovery[0])
    services.second_factor_remove(user=tech, code=renewed[0])
    told = " ".join(TrailEntry.objects.values_list("words", flat=True))
    assert "set up a second factor" in told
    assert not any(word in told for word in (secret, recovery[0], renewed[0]))


def test_an_owner_alone_who_lost_everything_gets_in_again_at_the_shops_computer(owner: User) -> None:
    set_up(owner)
    out = io.StringIO()
    call_command("reset_second_factor", owner.username, stdout=out)
    assert not SecondFactor.objects.filter(user=owner).exists()
    assert not RecoveryCode.objects.filter(user=owner).exists()
    assert TrailEntry.objects.get(kind="person.second-factor", by=None).words.startswith("The second factor of")
    assert "at the next sign-in" in out.getvalue()
    for name, words in ((owner.username, "no second factor"), ("nobody", "Nobody signs in here as nobody")):
        with pytest.raises(CommandError, match=words) as refused:
            call_command("reset_second_factor", name)
        assert refused.value.returncode == 2
