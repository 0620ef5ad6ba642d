"""`plan_shelf --as-of` a past day: the shelf as it stood in the evening of it."""

import datetime as dt
import json
from io import StringIO
from typing import Any

import pytest
from django.core.management import call_command
from django.utils import timezone

from parts.models import Order, OrderLine, Part
from parts.services import goods_in, need_add, order_line_add, order_receive, order_send, part_issue
from reports.demo.then import then
from shop.models import Job, User
from tests.parts.shelving import a_part, a_supplier

pytestmark = pytest.mark.django_db
DAY = dt.date(2026, 6, 1)


def on(day: int, hour: int = 12) -> dt.datetime:
    return timezone.make_aware(dt.datetime.combine(DAY.replace(day=day), dt.time(hour, 30)))


@pytest.fixture
def seal(parts_user: User) -> Part:
    return a_part(parts_user)


def told(day: int) -> Any:
    out = StringIO()
    call_command("plan_shelf", "--as-of", DAY.replace(day=day).isoformat(), "--json", stdout=out)
    return json.loads(out.getvalue())


def stock(day: int) -> tuple[int, int, int]:
    (line,) = told(day)["lines"]
    return line["stock"]["on_hand"], line["stock"]["on_order"], line["stock"]["promised"]


def test_what_lay_there_in_the_evening_counts(seal: Part, parts_user: User, job: Job) -> None:
    with then(on(3, 23)):
        goods_in(part=seal, by=parts_user, quantity=5)
    with then(on(4, 0)):
        part_issue(part=seal, job=job, by=parts_user, quantity=2)
    assert [stock(day)[0] for day in (2, 3, 4, 5)] == [0, 5, 3, 3]


def test_orders_are_open_from_their_sending_until_they_are_here(seal: Part, parts_user: User) -> None:
    with then(on(2)):
        line = order_line_add(supplier=a_supplier(parts_user), part=seal, by=parts_user, quantity=4)
    with then(on(3)):
        order_send(order=line.order, by=parts_user)
    for day, pieces in ((5, 1), (7, 3)):
        with then(on(day)):
            order_receive(line=OrderLine.objects.get(), by=parts_user, quantity=pieces)
    assert Order.objects.get().state == "closed"
    assert [stock(day)[:2] for day in (2, 3, 4, 5, 6, 7)] == [(0, 0), (0, 4), (0, 4), (1, 3), (1, 3), (4, 0)]


def test_what_a_job_had_asked_for_is_promised(seal: Part, parts_user: User, tech: User, job: Job) -> None:
    with then(on(2)):
        goods_in(part=seal, by=parts_user, quantity=5)
    with then(on(3)):
        need_add(job=job, part=seal, by=tech, quantity=2)
    with then(on(5)):
        part_issue(part=seal, job=job, by=parts_user, quantity=2)
    assert [stock(day)[2] for day in (2, 3, 4, 5)] == [0, 2, 2, 0]


def test_of_a_past_day_it_says_what_cannot_be_known(seal: Part) -> None:
    assert "as of the end of 2026-06-03" in told(3)["remark"]
    out = StringIO()
    call_command("plan_shelf", "--json", stdout=out)
    assert "remark" not in json.loads(out.getvalue())
