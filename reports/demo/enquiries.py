"""What customers told before their cars came: one that waits, one taken down at the counter, one that is a job."""

from collections.abc import Mapping, Sequence
from datetime import timedelta

from django.utils.translation import gettext as _

from diagnostics.engine.questions import told_of
from diagnostics.engine.system.model import TopSystem
from diagnostics.models import Enquiry, EnquiryState, SystemRevision
from diagnostics.services import Contact, enquiry_send
from shop.models import Job, Stage, TrailEntry, User

Systems = Mapping[str, tuple[SystemRevision, TopSystem]]


def write_enquiries(jobs: Sequence[Job], users: Mapping[str, User], systems: Systems) -> None:
    """`jobs`: those of the scenario; the first booked one whose title names a step was told of beforehand."""
    revision, _system = systems["softbow-hydro"]
    enquiry_send(
        revision=revision,
        answers={
            "fails": "close",
            "stops": "open-cover",
            "hand": "as-it-should",
            "sound": "silent",
            "lamp": "flashing",
            "battery": "no",
        },
        contact=Contact(
            name="Oda Marchbank",
            phone="01632 960871",
            car="Tavelle Ombrine, ten years old",
            words="Since the washing plant last week. The top lies in the well and will not come out.",
        ),
    )
    enquiry_send(
        revision=None,
        answers={},
        contact=Contact(
            name="Wim Pellwood",
            email="wim.pellwood@post.example",
            words="An old Veldt. It opens a hand’s breadth and stops, and something whirrs behind the seats.",
        ),
        by=users["counter"],
    )
    for job in jobs:
        answers = _could_be_told(job, systems) if job.stage == Stage.BOOKED else {}
        if answers:
            _told_beforehand(job, answers, systems, users["counter"])
            break


def _could_be_told(job: Job, systems: Systems) -> dict[str, str]:
    """Answers that fit the job's title, where that names a step at which the top stops; else {}."""
    if job.car.system not in systems or job.car.owner is None:
        return {}
    for motion, declared in systems[job.car.system][1].motions.items():
        for step in declared.steps:
            if job.title.startswith(declared.title) and step.title.lower() in job.title.lower():
                return {"fails": motion, "stops": step.name, "lamp": step.lamp, "battery": "no"}
    return {}


def _told_beforehand(job: Job, answers: dict[str, str], systems: Systems, counter: User) -> None:
    revision, system = systems[job.car.system]
    complaint, owner = told_of(system, answers).complaint, job.car.owner
    assert complaint is not None  # noqa: S101 - the answers say where it stops
    assert owner is not None  # noqa: S101 - looked at before
    enquiry = Enquiry.objects.create(
        revision=revision,
        answers=answers,
        complaint=complaint.model_dump(exclude_none=True),
        name=owner.name,
        phone=owner.phone,
        email=owner.email,
        words=job.complaint,
        state=EnquiryState.TAKEN,
        job=job,
        created_at=job.opened_at - timedelta(hours=3),
    )
    TrailEntry.objects.create(
        at=job.opened_at,
        by=counter,
        car=job.car,
        job=job,
        kind="enquiry.taken",
        words=_("{number} comes from enquiry {enquiry}.").format(number=job.number, enquiry=enquiry.number),
        link=enquiry.get_absolute_url(),
    )
