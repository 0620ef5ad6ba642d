"""The shelf plan: made and kept, and what somebody decides of each line."""

import datetime as dt
import json
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from hashlib import sha256

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from parts.models import Decision, Order, OrderLine, OrderState, PlanLine, ShelfPlan, ShelfPolicy
from parts.plan_document import Document, documents_of
from parts.planning.part_plan import Stock
from parts.planning.shelf_plan import plan_shelf
from parts.selectors.candidates import prepared
from parts.services.orders import order_line_add
from shop.errors import Conflict, ShopError
from shop.models import TaskRun, User
from shop.permissions import require
from shop.runs import run_progress
from shop.services import trail_record

Tell = Callable[[int, int, str], None]
KEPT = 30
"""Plans that stay; older ones of which nobody decided anything go."""
MOST_MONTHS = 24


def computed(
    as_of: dt.date,
    months: int,
    tell: Tell = lambda _done, _total, _words: None,
    stock: Mapping[str, Stock] | None = None,
) -> tuple[Document, list[Document]]:
    """The plan as documents: the whole (policy and totals), and its lines, what is to be ordered first. `stock`: other
    than today's. ShopError for months that cannot be."""
    if not 1 <= months <= MOST_MONTHS:
        raise ShopError(_("{months} months ahead: expected 1 to {most}.").format(months=months, most=MOST_MONTHS))
    policy = policy_now()
    ready = prepared(as_of, months, policy, tell, stock)
    plan = plan_shelf(
        ready.candidates, ready.history, months=months, span=ready.span, review_days=policy.review_days,
        budget=policy.budget, outside=ready.outside,
    )  # fmt: skip
    return documents_of(plan, ready, policy, as_of, months)


@transaction.atomic
def plan_keep(*, as_of: dt.date, months: int, whole: Document, lines: Sequence[Document], by: User | None) -> ShelfPlan:
    """Keep a plan that was computed; the same once more is the one that is there."""
    told = json.dumps([whole, lines], sort_keys=True)
    fingerprint = sha256(told.encode()).hexdigest()
    same = ShelfPlan.objects.filter(as_of=as_of, months=months, fingerprint=fingerprint).first()
    if same is not None:
        return same
    plan = ShelfPlan.objects.create(
        as_of=as_of, months=months, made_at=timezone.now(), made_by=by, fingerprint=fingerprint, document=whole
    )
    PlanLine.objects.bulk_create(
        PlanLine(
            plan=plan, part_id=line["key"], suggested=line["quantity"], reorder_point=line["reorder_point"],
            up_to=line["up_to"], document=line,
        )
        for line in lines
    )  # fmt: skip
    old = ShelfPlan.objects.exclude(lines__in=PlanLine.objects.exclude(decision=Decision.OPEN)).order_by("-made_at")
    for key in list(old.values_list("pk", flat=True)[KEPT:]):
        ShelfPlan.objects.filter(pk=key).delete()
    return plan


def plan_run(*, as_of: dt.date, months: int = 12, run: TaskRun | None = None) -> ShelfPlan:
    """Make a plan and keep it. `run` hears how far it is; raises Cancelled where it was called off."""
    tell = partial(_tell_run, run) if run is not None else lambda _done, _total, _words: None
    whole, lines = computed(as_of, months, tell)
    return plan_keep(as_of=as_of, months=months, whole=whole, lines=lines, by=run.by if run is not None else None)


def policy_now() -> ShelfPolicy:
    return ShelfPolicy.objects.first() or ShelfPolicy(pk=1)


@transaction.atomic
def policy_set(*, by: User, policy: ShelfPolicy) -> ShelfPolicy:
    """What the shop wants of its shelf; `policy` checked by its form. Plans made from now on go by it."""
    require(by, "order.write")
    policy.pk = 1
    policy.save()
    words = _("Shelf policy: {rate} % of the pieces asked for are to be there.").format(
        rate=round(policy.ready_rate * 100, 1)
    )
    trail_record(by=by, kind="plan.policy", words=words)
    return policy


@transaction.atomic
def line_decide(*, line: PlanLine, by: User, quantity: int, why: str = "") -> PlanLine:
    """Order that many of a line (0: none of it) and put them on the draft to the supplier. Another number than
    suggested says why. Conflict for an old plan or a line that is decided."""
    require(by, "order.write")
    line = _open_line(line)
    why = why.strip()[:200]
    changed = quantity != line.suggested
    if changed and not why:
        raise ShopError(
            _("{part}: {suggested} are suggested; say why {quantity} instead.").format(
                part=line.part.number, suggested=line.suggested, quantity=quantity
            )
        )
    if quantity < 0:
        raise ShopError(_("{part}: expected 0 or more pieces.").format(part=line.part.number))
    if quantity:
        offer = line.part.offers.filter(preferred=True).select_related("supplier").first()
        if offer is None:
            raise ShopError(
                _("Nobody delivers {part} yet: note a supplier’s offer on the part first.").format(
                    part=line.part.number
                )
            )
        line.order_line = order_line_add(
            supplier=offer.supplier, part=line.part, by=by, quantity=quantity, why=why or line.document.get("why", "")
        )
    line.decision = _decision(quantity, changed=changed)
    line.quantity, line.why, line.decided_by, line.decided_at = quantity, why, by, timezone.now()
    line.save()
    words = _("Shelf plan: {quantity} × {part}, {suggested} suggested. {why}").format(
        quantity=quantity, part=line.part.number, suggested=line.suggested, why=why
    )
    trail_record(by=by, kind="plan.decided", words=words.strip())
    return line


@transaction.atomic
def line_reopen(*, line: PlanLine, by: User) -> PlanLine:
    """Undo a decision while its order is still a draft: what it put there comes off again."""
    require(by, "order.write")
    line = PlanLine.objects.select_for_update(of=("self",)).select_related("part", "plan").get(pk=line.pk)
    if line.decision == Decision.OPEN:
        raise Conflict(_("{part} is not decided.").format(part=line.part.number))
    if line.order_line is not None:
        _off_the_draft(line, line.order_line)
    line.decision, line.quantity, line.why = Decision.OPEN, None, ""
    line.decided_by = line.decided_at = line.order_line = None
    line.save()
    trail_record(
        by=by, kind="plan.reopened", words=_("Shelf plan: {part} is open again.").format(part=line.part.number)
    )
    return line


@transaction.atomic
def plan_accept(*, plan: ShelfPlan, by: User) -> int:
    """Order everything that is suggested and not decided yet; how many lines. Parts that nobody delivers stay open."""
    require(by, "order.write")
    lines = plan.lines.filter(decision=Decision.OPEN, suggested__gt=0, part__offers__preferred=True)
    done = 0
    for line in lines.select_related("part", "plan").order_by("pk"):
        line_decide(line=line, by=by, quantity=line.suggested)
        done += 1
    return done


def _decision(quantity: int, *, changed: bool) -> Decision:
    if not quantity:
        return Decision.LEFT if changed else Decision.ACCEPTED
    return Decision.CHANGED if changed else Decision.ACCEPTED


def _open_line(line: PlanLine) -> PlanLine:
    line = PlanLine.objects.select_for_update(of=("self",)).select_related("part", "plan").get(pk=line.pk)
    newest = ShelfPlan.objects.order_by("-made_at", "-pk").first()
    if newest is None or newest.pk != line.plan_id:
        raise Conflict(_("This plan is not the newest any more; look at the newest."))
    if line.decision != Decision.OPEN:
        raise Conflict(_("{part} is decided already.").format(part=line.part.number))
    return line


def _off_the_draft(line: PlanLine, ordered: OrderLine) -> None:
    order = Order.objects.select_for_update().get(pk=ordered.order_id)
    ordered = OrderLine.objects.select_for_update().get(pk=ordered.pk)
    if order.state != OrderState.DRAFT:
        raise Conflict(
            _("{order} with {part} has gone out; change it there.").format(order=order.number, part=line.part.number)
        )
    left = ordered.quantity - (line.quantity or 0)
    if left > 0:
        ordered.quantity = left
        ordered.save(update_fields=["quantity"])
    else:
        OrderLine.objects.filter(pk=ordered.pk).delete()


def _tell_run(run: TaskRun, done: int, total: int, words: str) -> None:
    run_progress(run, done=done, total=total, words=words)
