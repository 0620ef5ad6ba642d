"""What customers told before their cars came: one that waits, one taken down at the counter, one that is a job."""

from collections.abc import Mapping, Sequence
from datetime import timedelta

from diagnostics.engine.questions import told_of
from diagnostics.engine.system.model import TopSystem
from diagnostics.models import Enquiry, EnquiryState, SystemRevision
from diagnostics.services import Contact, enquiry_send
from shop.models import Job, Stage, User

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
        if job.stage == Stage.BOOKED and _told_beforehand(job, systems):
            break


def _told_beforehand(job: Job, systems: Systems) -> bool:
    """Whether the job's title names a step that could have been told; then the enquiry is written."""
    if job.car.system not in systems or job.car.owner is None:
        return False
    revision, system = systems[job.car.system]
    for motion, declared in system.motions.items():
        for step in declared.steps:
            if job.title.startswith(declared.title) and step.title.lower() in job.title.lower():
                answers = {"fails": motion, "stops": step.name, "lamp": step.lamp, "battery": "no"}
                complaint = told_of(system, answers).complaint
                assert complaint is not None  # noqa: S101 - the answers say where it stops
                Enquiry.objects.create(
                    revision=revision,
                    answers=answers,
                    complaint=complaint.model_dump(exclude_none=True),
                    name=job.car.owner.name,
                    phone=job.car.owner.phone,
                    email=job.car.owner.email,
                    words=job.complaint,
                    state=EnquiryState.TAKEN,
                    job=job,
                    created_at=job.opened_at - timedelta(hours=3),
                )
                return True
    return False
