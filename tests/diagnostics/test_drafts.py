"""The system editor as people use it: checked, kept, seen by others, published; and every way in which it fails."""

import threading
from collections.abc import Callable
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.utils import timezone

from diagnostics import services
from diagnostics.engine.system.marked import MAX_CHARACTERS
from diagnostics.engine.system.revising import name_in, with_revision
from diagnostics.models import BenchSheet, SystemDraft, SystemRevision, Unit
from diagnostics.selectors import system_of
from diagnostics.selectors.systems import system_for_job
from diagnostics.services import DraftMoved
from shop.errors import Conflict, Refused, ShopError
from shop.models import Car, Job, TrailEntry, User
from tests.diagnostics.bench import opened, words

pytestmark = pytest.mark.django_db
AT = "/systems/rht-trio/draft/"
As = Callable[[str], Client]


def changed(revision: SystemRevision, number: int = 3) -> str:
    """A sound next revision: another pull-up."""
    text = with_revision(revision.text, number).replace("pull_up_ohm: 1000", "pull_up_ohm: 2200")
    assert text != revision.text
    return text


def kept(by: User, text: str, *, seen: int = 0, slug: str = "rht-trio") -> SystemDraft:
    return services.draft_keep(slug=slug, text=text, seen=seen, by=by)


# The text


def test_the_number_is_set_where_it_stands_or_after_the_name(revision: SystemRevision) -> None:
    assert "\nrevision: 7\n" in with_revision(revision.text, 7)
    assert with_revision("system: a-b\ntitle: x", 2) == "system: a-b\nrevision: 2\ntitle: x"
    assert with_revision("{system: a, revision: 1, title: x}", 2) == "{system: a, revision: 2, title: x}"
    assert with_revision("system: a\nrevision:\n", 4) == "system: a\nrevision: 4\n"
    assert with_revision("- a list", 2) == "- a list"
    for line in ("revision: 2  # two", 'revision: "2"'):
        assert with_revision(f"system: a\n{line}", 3).split("\n")[1].startswith("revision: 3")


@pytest.mark.parametrize(
    ("text", "name"),
    [("system: a-b", "a-b"), ("system: A b", ""), ("system: [a]", ""), ("a: *b", ""), ("", ""), ("- a", "")],
)
def test_which_system_a_text_is_about(text: str, name: str) -> None:
    assert name_in(text) == name


# Keeping


def test_a_new_revision_begins_with_the_newest_and_its_next_number(client_as: As, revision: SystemRevision) -> None:
    answer = client_as("technician").get(AT)
    assert answer.status_code == 200
    assert "\nrevision: 3\n" in words(answer)
    assert "It says the same as revision 2: there is nothing to publish." in words(answer)
    assert not SystemDraft.objects.exists()


def test_checking_tells_what_changes_and_keeps_nothing(client_as: As, revision: SystemRevision) -> None:
    answer = client_as("technician").post(AT, {"act": "check", "text": changed(revision), "seen": "0"})
    page = words(answer)
    assert answer.status_code == 200
    assert "Module: pull-up in Ω 1000, now 2200." in page
    assert "The system: revision 2, now 3." in page
    assert "both motions run" in page
    assert "not kept yet" in page
    assert not SystemDraft.objects.exists()


def test_every_mistake_is_told_with_its_line_and_what_was_typed_stays(client_as: As, revision: SystemRevision) -> None:
    text = changed(revision).replace("pull_up_ohm: 2200", "pull_up_ohm: many").replace("supply_v: 12.0", "supply_v: -1")
    lines = text.split("\n")
    numbers = [1 + next(n for n, line in enumerate(lines) if word in line) for word in ("many", "supply_v")]
    answer = client_as("technician").post(AT, {"act": "check", "text": text.replace("\n", "\r\n")})
    page = words(answer)
    assert answer.status_code == 422
    assert "2 mistakes" in page
    assert all(f"Line {number}</strong>" in page for number in numbers)
    assert '<pre class="source-line" tabindex="0">  pull_up_ohm: many</pre>' in page
    assert page.count("pull_up_ohm: many") == 2  # the line, and the text as it was typed
    assert not SystemDraft.objects.exists()


def test_a_draft_with_mistakes_is_kept_to_go_on_with(client_as: As, revision: SystemRevision, tech: User) -> None:
    text = changed(revision) + "\nnonsense: 1\n"
    answer = client_as("technician").post(AT, {"act": "keep", "text": text.replace("\n", "\r\n"), "seen": "0"})
    assert answer.status_code == 302
    draft = SystemDraft.objects.get()
    assert (draft.text, draft.by, draft.base, draft.version) == (text, tech, revision, 1)
    page = words(client_as("owner").get(AT))
    assert "nonsense" in page
    assert "draft kept last by tech" in page
    assert "Publish revision" not in page
    assert "kept by tech" in words(client_as("owner").get("/systems/"))
    assert "kept by tech" not in words(client_as("counter").get("/systems/"))
    assert TrailEntry.objects.filter(kind="system.drafted", by=tech).count() == 1


def test_the_next_number_is_offered_and_set(client_as: As, revision: SystemRevision) -> None:
    client = client_as("technician")
    page = words(client.post(AT, {"act": "check", "text": changed(revision, 9)}))
    assert "The revision is numbered 9; expected 3, the next one." in page
    assert "Set revision 3" in page
    page = words(client.post(AT, {"act": "number", "text": changed(revision, 9)}))
    assert "\nrevision: 3\n" in page
    assert "expected 3" not in page


def test_two_people_never_write_over_each_other_unseen(
    client_as: As, revision: SystemRevision, tech: User, owner: User
) -> None:
    kept(tech, changed(revision))
    kept(owner, changed(revision) + "# from the owner\n", seen=1)
    answer = client_as("technician").post(AT, {"act": "keep", "text": "system: mine", "seen": "1"})
    page = words(answer)
    assert answer.status_code == 409
    assert "owner kept this draft meanwhile." in page
    assert "system: mine" in page
    assert 'name="seen" value="2"' in page  # whoever keeps now has been told
    assert SystemDraft.objects.get().text.endswith("# from the owner\n")
    with pytest.raises(DraftMoved):
        kept(tech, "system: other", seen=0)
    with pytest.raises(DraftMoved):
        services.draft_drop(slug="rht-trio", seen=1, by=tech)
    with pytest.raises(DraftMoved):
        services.draft_publish(slug="rht-trio", seen=1, note="why", by=owner)
    assert client_as("technician").post(AT, {"act": "keep", "text": "system: mine", "seen": "2"}).status_code == 302


def test_thrown_away_by_one_who_has_seen_it(client_as: As, revision: SystemRevision, tech: User) -> None:
    kept(tech, changed(revision))
    answer = client_as("technician").post(f"{AT}drop/", {"seen": "1"})
    assert answer.status_code == 302
    assert not SystemDraft.objects.exists()
    assert client_as("technician").post(f"{AT}drop/", {"seen": "1"}).status_code == 409
    assert TrailEntry.objects.filter(kind="system.draft-dropped").count() == 1


# Bad input


@pytest.mark.parametrize(
    ("data", "said", "can_be_kept"),
    [
        (b"\xff\xfe" + b"a" * 9, "Line 1 of the file is no UTF-8 text", False),
        (b"system: a\ntitle: \xe9\n", "Line 2 of the file is no UTF-8 text", False),
        (b"x" * (512 * 1024 + 1), "a system file has at most 512 kB", False),
        (b"", "Nothing was sent; expected the text of a system file, or the file.", False),
        (b"a: &x [1]\nb: *x\n", "An alias (*x) stands here; write the value out.", True),
        (b"a: " + b"[" * 99, "nested deeper than", True),
        (b"system: rht-trio\nsystem: rht-trio\n", "is written twice here", True),
        (b"system: softbow-hydro\n", "“softbow-hydro” was found; this is the draft of rht-trio.", True),
        (b"x" * (MAX_CHARACTERS + 1), "a system file has at most 400000", False),
        (b"a: \x00", "A character that no text may contain", False),
    ],
    ids=["utf-16", "latin-1", "large", "empty", "alias", "deep", "twice", "other", "long", "nul"],
)
def test_a_bad_file_gets_one_clear_sentence(
    client_as: As, revision: SystemRevision, data: bytes, said: str, can_be_kept: bool
) -> None:
    client = client_as("technician")
    answer = client.post(AT, {"act": "check", "file": SimpleUploadedFile("x.yaml", data), "text": "", "seen": "0"})
    assert answer.status_code == 422
    assert said in words(answer)
    answer = client.post(AT, {"act": "keep", "file": SimpleUploadedFile("x.yaml", data), "text": "", "seen": "0"})
    assert answer.status_code == (302 if can_be_kept else 422)
    assert SystemDraft.objects.count() == int(can_be_kept)
    assert said in words(client.get(AT)) or not can_be_kept
    assert SystemRevision.objects.count() == 1


def test_a_file_takes_the_place_of_the_text(client_as: As, revision: SystemRevision) -> None:
    file = SimpleUploadedFile("x.yaml", b"\xef\xbb\xbf" + changed(revision).replace("\n", "\r\n").encode())
    client_as("owner").post(AT, {"act": "keep", "file": file, "text": "old", "seen": "0"})
    assert SystemDraft.objects.get().text == changed(revision)


def test_a_system_that_nobody_declared_begins_with_its_file(client_as: As, revision: SystemRevision) -> None:
    client, text = client_as("owner"), revision.text.replace("system: rht-trio", "system: rht-other")
    page = words(client.post("/system-drafts/new/", {"text": text}))
    assert "This system is declared for the first time" in page
    assert 'action="/systems/rht-other/draft/"' in page
    assert not SystemDraft.objects.exists()
    client.post("/systems/rht-other/draft/", {"act": "keep", "text": text, "seen": "0"})
    assert client.post("/systems/rht-other/draft/publish/", {"seen": "1", "note": "New here"}).status_code == 302
    assert SystemRevision.objects.get(slug="rht-other").note == "New here"
    bad = client.post("/system-drafts/new/", {"text": "title: no name\n"})
    assert bad.status_code == 422
    assert "system" in words(bad)
    assert "title: no name" in words(bad)


def test_a_name_that_no_system_can_have_is_not_found(client_as: As, tech: User) -> None:
    assert client_as("technician").get("/systems/Not_A_Name/draft/").status_code == 404
    with pytest.raises(ShopError, match="cannot name a top system"):
        kept(tech, "system: x", slug="Not_A_Name")


# Publishing


def test_one_act_publishes_with_a_note_and_the_old_one_stays(
    client_as: As, revision: SystemRevision, tech: User, owner: User
) -> None:
    kept(tech, changed(revision))
    assert "The owner of the shop publishes it." in words(client_as("technician").get(AT))
    client = client_as("owner")
    assert "Publish revision 3" in words(client.get(AT))
    missing = client.post(f"{AT}publish/", {"seen": "1", "note": "  "})
    assert missing.status_code == 422
    assert "A note is missing" in words(missing)
    assert SystemRevision.objects.count() == 1
    long = client.post(f"{AT}publish/", {"seen": "1", "note": "x" * 501})
    assert "at most 500 characters" in words(long)
    assert "x" * 501 in words(long)
    assert client.post(f"{AT}publish/", {"seen": "1", "note": "Newer module"}).status_code == 302
    newest = SystemRevision.objects.first()
    assert newest is not None
    assert (newest.revision, newest.note, newest.published_by, newest.text) == (
        3, "Newer module", owner, changed(revision),
    )  # fmt: skip
    assert not SystemDraft.objects.exists()
    assert SystemRevision.objects.get(revision=2).text == revision.text
    assert TrailEntry.objects.filter(kind="system.published", by=owner).count() == 2


def test_going_on_keeps_its_revision_and_the_next_job_takes_the_new_one(
    sheet: BenchSheet, revision: SystemRevision, tech: User, owner: User, car: Car, job: Job
) -> None:
    kept(tech, changed(revision))
    newer = services.draft_publish(slug="rht-trio", seen=1, note="Newer module", by=owner)
    sheet.refresh_from_db()
    assert sheet.revision == revision
    services.sheet_close(sheet=sheet, by=tech)
    assert system_for_job(job) == revision
    assert opened(job, tech).revision == revision
    other = Job.objects.create(
        car=Car.objects.create(vin="0TWAH5903RT000008", made_on=car.made_on, system="rht-trio"),
        title="Stops", stage="here", held_since=job.opened_at, opened_at=job.opened_at, opened_by=tech,
    )  # fmt: skip
    assert opened(other, tech).revision == newer


def test_only_the_owner_publishes_and_only_the_bench_drafts(
    revision: SystemRevision, tech: User, counter: User, parts_user: User
) -> None:
    kept(tech, changed(revision))
    for by in (tech, counter, parts_user):
        with pytest.raises(Refused):
            services.draft_publish(slug="rht-trio", seen=1, note="why", by=by)
        with pytest.raises(Refused):
            services.system_publish(text=changed(revision), source="x", by=by)
    for by in (counter, parts_user):
        with pytest.raises(Refused):
            kept(by, "system: x", seen=1)
        with pytest.raises(Refused):
            services.draft_drop(slug="rht-trio", seen=1, by=by)


@pytest.mark.parametrize("number", [2, 9])
def test_a_number_that_is_not_the_next_is_refused(revision: SystemRevision, owner: User, number: int) -> None:
    kept(owner, changed(revision, number))
    with pytest.raises(Conflict):
        services.draft_publish(slug="rht-trio", seen=1, note="why", by=owner)
    assert SystemRevision.objects.count() == 1
    assert SystemDraft.objects.count() == 1


def test_the_very_text_that_stands_is_not_published_again(revision: SystemRevision, owner: User) -> None:
    kept(owner, revision.text)
    with pytest.raises(Conflict):
        services.draft_publish(slug="rht-trio", seen=1, note="why", by=owner)


def test_a_text_with_mistakes_or_of_another_system_is_not_published(revision: SystemRevision, owner: User) -> None:
    kept(owner, changed(revision).replace("supply_v: 12.0", "supply_v: -1"))
    with pytest.raises(ShopError, match="supply_v"):
        services.draft_publish(slug="rht-trio", seen=1, note="why", by=owner)
    kept(owner, changed(revision).replace("system: rht-trio", "system: rht-other"), seen=1)
    with pytest.raises(ShopError, match="another system"):
        services.draft_publish(slug="rht-trio", seen=2, note="why", by=owner)
    assert SystemRevision.objects.count() == 1


def test_somebody_else_publishing_the_number_between_look_and_write_is_told(
    monkeypatch: pytest.MonkeyPatch, revision: SystemRevision, owner: User
) -> None:
    """The database holds the number once, whatever was looked up before."""
    kept(owner, changed(revision))

    class Rival:
        @staticmethod
        def now() -> Any:
            if not SystemRevision.objects.filter(revision=3).exists():
                row = SystemRevision.objects.get(revision=2)
                row.pk, row.revision = None, 3
                row.save()
            return timezone.now()

    monkeypatch.setattr("diagnostics.services.systems.timezone", Rival)
    with pytest.raises(Conflict, match="Somebody else published revision 3 of rht-trio"):
        services.draft_publish(slug="rht-trio", seen=1, note="why", by=owner)
    assert SystemDraft.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_two_who_publish_at_once_make_one_revision(owner: User, revision: SystemRevision) -> None:
    first, second = changed(revision), changed(revision).replace("2200", "4700")
    start, outcomes = threading.Barrier(2), list[int | str]()

    def go(text: str) -> None:
        start.wait(timeout=20)
        try:
            outcomes.append(services.system_publish(text=text, source="x", by=owner, note="why").revision)
        except Conflict as error:
            outcomes.append(error.words)
        finally:
            connection.close()

    threads = [threading.Thread(target=go, args=(text,)) for text in (first, second)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert sorted(type(one).__name__ for one in outcomes) == ["int", "str"]
    assert SystemRevision.objects.filter(revision=3).count() == 1


def test_one_draft_of_a_system_and_none_empty_by_the_database(tech: User, revision: SystemRevision) -> None:
    kept(tech, changed(revision))
    now = timezone.now()
    for slug, text, version in (("rht-trio", "x", 1), ("other", "", 1), ("other", "x", 0)):
        with pytest.raises(IntegrityError), transaction.atomic():
            SystemDraft.objects.create(slug=slug, text=text, version=version, by=tech, at=now)


def test_what_the_shop_has_at_a_position_that_vanishes_is_counted(
    client_as: As, car: Car, sheet: BenchSheet, revision: SystemRevision, django_assert_max_num_queries: Any
) -> None:
    Unit.objects.create(car=car, position="BG9", part="TW-BGA-3014")
    other = Car.objects.create(vin="0TWAH5903RT000008", made_on=car.made_on, system="rht-trio")
    Unit.objects.create(car=other, position="BG9", part="TW-BGA-3014")
    elsewhere = Car.objects.create(vin="0TWAH5903RT000007", made_on=car.made_on, system="softbow-hydro")
    Unit.objects.create(car=elsewhere, position="BG9", part="TW-BGA-3014")
    text = changed(revision).replace("BG9", "BG19")
    client = client_as("technician")
    with django_assert_max_num_queries(11):
        page = words(client.post(AT, {"act": "check", "text": text}))
    assert "2 cars have a unit at BG9, which this revision does not have." in page
    assert "what is likely the same is called BG19." in page


# What was published


def test_the_history_says_who_why_and_what(client_as: As, revision: SystemRevision, tech: User, owner: User) -> None:
    kept(tech, changed(revision))
    services.draft_publish(slug="rht-trio", seen=1, note="Newer module, 2.2 kΩ", by=owner)
    page = words(client_as("counter").get("/systems/rht-trio/revisions/"))
    assert "Newer module, 2.2 kΩ" in page
    assert "Module: pull-up in Ω 1000, now 2200." in page
    assert "What changed against revision 2" in page
    assert "The first one published here." in page
    assert page.index("Revision 3") < page.index("Revision 2<")
    assert client_as("counter").get("/systems/nowhere/revisions/").status_code == 404


def test_the_file_comes_as_published_byte_for_byte(client_as: As, revision: SystemRevision, owner: User) -> None:
    kept(owner, changed(revision))
    services.draft_publish(slug="rht-trio", seen=1, note="why", by=owner)
    client = client_as("counter")
    for asked, text in (("", changed(revision)), ("?revision=2", revision.text)):
        answer = client.get(f"/systems/rht-trio/file/{asked}")
        assert answer.content == text.encode()
        assert answer["Content-Disposition"].startswith('attachment; filename="rht-trio-')
        assert answer["X-Content-Type-Options"] == "nosniff"
    assert client.get("/systems/rht-trio/file/?revision=9").status_code == 404


def test_the_system_page_leads_to_all_of_it(client_as: As, revision: SystemRevision) -> None:
    for role, drafts in (("technician", True), ("counter", False)):
        page = words(client_as(role).get("/systems/rht-trio/"))
        for address in ("play/", "revisions/", "pin-card.pdf"):
            assert f'href="/systems/rht-trio/{address}"' in page
        assert (f'href="{AT}"' in page) == drafts
    page = words(client_as("counter").get("/systems/rht-trio/?revision=2"))
    assert 'href="/systems/rht-trio/pin-card.pdf?revision=2"' in page
    assert system_of(revision).revision == 2
