"""What a task waits for from elsewhere: its parts, and outside work that is sent and comes back."""

import datetime as dt

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from shop.errors import Conflict, ShopError
from shop.models import Task, TaskKind, TaskPart, User
from shop.permissions import require
from shop.services.plans import open_task, tell
from shop.words import day_words


@transaction.atomic
def task_part_add(
    *, task: Task, by: User, name: str, part: str = "", quantity: int = 1, expected_on: dt.date | None = None
) -> TaskPart:
    require(by, "clock.write")
    task = open_task(task)
    name = name.strip()
    if not name:
        raise ShopError(_("Name the part that is needed."))
    if not 1 <= quantity <= 999:
        raise ShopError(_("Quantity of {part}: expected 1 to 999.").format(part=name))
    row = TaskPart.objects.create(task=task, name=name, part=part.strip(), quantity=quantity, expected_on=expected_on)
    tell(task, by, "task.part", _("{task} needs {part}.").format(task=task.title, part=name))
    return row


@transaction.atomic
def task_part_here(*, row: TaskPart, by: User, here: bool) -> TaskPart:
    """The part is there since today; or it is not there after all."""
    require(by, "clock.write")
    task = open_task(row.task)
    row = TaskPart.objects.select_for_update().get(pk=row.pk)
    row.here_on = (row.here_on or timezone.localdate()) if here else None
    row.save(update_fields=["here_on"])
    words = _("{part} for {task} is here.") if here else _("{part} for {task} is not here after all.")
    tell(task, by, "task.part", words.format(part=row.name, task=task.title))
    return row


@transaction.atomic
def task_part_remove(*, row: TaskPart, by: User) -> TaskPart:
    """Returns what was taken off as it stood at that moment, for task_part_return."""
    require(by, "clock.write")
    task = open_task(row.task)
    gone = TaskPart.objects.select_for_update().filter(pk=row.pk).first()
    if gone is None:
        raise Conflict(_("{part} is taken off already.").format(part=row.name))
    TaskPart.objects.filter(pk=row.pk).delete()
    tell(task, by, "task.part", _("{task} does not need {part}.").format(part=gone.name, task=task.title))
    return gone


@transaction.atomic
def task_part_return(*, gone: TaskPart, by: User) -> TaskPart:
    """Taking it off was a mistake: the task needs it as before, with its number, quantity and days."""
    require(by, "clock.write")
    task = open_task(gone.task)
    row = TaskPart.objects.create(
        task=task, part=gone.part, name=gone.name, quantity=gone.quantity, expected_on=gone.expected_on,
        here_on=gone.here_on,
    )  # fmt: skip
    tell(task, by, "task.part", _("{task} needs {part} after all.").format(task=task.title, part=row.name))
    return row


@transaction.atomic
def outside_sent(*, task: Task, by: User, on: dt.date | None) -> Task:
    """Outside work left the shop on that day; None: it did not after all."""
    require(by, "clock.write")
    return _outside(_outside_task(task), by, on, None)


@transaction.atomic
def outside_back(*, task: Task, by: User, on: dt.date) -> Task:
    """It came back on that day; ending the task is another tap, after a look at it."""
    require(by, "clock.write")
    task = _outside_task(task)
    if task.outside_sent_on is None:
        raise Conflict(_("“{task}” was not sent yet.").format(task=task.title))
    return _outside(task, by, task.outside_sent_on, on)


def _outside_task(task: Task) -> Task:
    """Locked: when it was sent is read after the lock, for somebody may say at the same moment that it was not."""
    task = open_task(task)
    if task.kind != TaskKind.OUTSIDE:
        raise Conflict(_("“{task}” is work of this shop.").format(task=task.title))
    return task


def _outside(task: Task, by: User, sent: dt.date | None, back: dt.date | None) -> Task:
    for day in (sent, back):
        if day is not None and day > timezone.localdate():
            raise ShopError(_("{day} lies in the future; expected today or earlier.").format(day=day_words(day)))
    if sent and back and back < sent:
        raise ShopError(_("It cannot be back before it was sent on {day}.").format(day=day_words(sent)))
    task.outside_sent_on, task.outside_back_on = sent, back
    task.save(update_fields=["outside_sent_on", "outside_back_on"])
    words = _("{task} is back.") if back else _("{task} was sent.") if sent else _("{task} was not sent.")
    tell(task, by, "task.outside", words.format(task=task.title))
    return task
