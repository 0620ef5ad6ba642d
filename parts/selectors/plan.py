"""The newest shelf plan as its page shows it."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from parts.models import Decision, PlanLine, ShelfPlan
from parts.plan_document import compared_words, method_words, runs_out_words, scenario_words
from shop.models import RunState, TaskRun

RUN_KIND = "shelf-plan"


@dataclass(frozen=True, slots=True)
class Scenario:
    """`quantity` and `point` as they would be; `same` where nothing would change."""

    words: str
    quantity: int
    point: int
    same: bool


@dataclass(frozen=True, slots=True)
class LineShown:
    """`told` is the line's document (parts/plan_document.py)."""

    row: PlanLine
    told: dict[str, Any]
    method: str
    compared: str
    runs_out: str
    scenarios: tuple[Scenario, ...]

    @property
    def is_open(self) -> bool:
        return self.row.decision == Decision.OPEN

    @property
    def may_reopen(self) -> bool:
        """Its order is still a draft, or nothing was ordered."""
        line = self.row.order_line
        return not self.is_open and (line is None or line.order.state == "draft")

    @property
    def runs_out_percent(self) -> int:
        return round(float(self.told["runs_out"]) * 100)


@dataclass(frozen=True, slots=True)
class PlanShown:
    """`orders`: lines that suggest something or are decided; `rest`: the others; `left_open`: suggested and not
    decided, `cost` of those; `unknown_price` of how many of them nobody told the price."""

    plan: ShelfPlan
    orders: tuple[LineShown, ...]
    rest: tuple[LineShown, ...]
    left_open: int
    cost: Decimal
    unknown_price: int


def plan_shown() -> PlanShown | None:
    """The newest plan; None while none was made. Two queries."""
    plan = ShelfPlan.objects.select_related("made_by").order_by("-made_at", "-pk").first()
    if plan is None:
        return None
    rows = plan.lines.select_related("part", "order_line__order", "decided_by").order_by("pk")
    shown = [line_shown(row) for row in rows]
    orders = tuple(one for one in shown if one.row.suggested or not one.is_open)
    waiting = [one for one in orders if one.is_open]
    return PlanShown(
        plan=plan,
        orders=orders,
        rest=tuple(one for one in shown if not one.row.suggested and one.is_open),
        left_open=len(waiting),
        cost=sum((Decimal(one.told["cost"]) for one in waiting), Decimal(0)),
        unknown_price=sum(one.told["price"] is None for one in waiting),
    )


def plan_run_alive() -> TaskRun | None:
    """The plan that is being made or waits for the worker."""
    alive = TaskRun.objects.filter(kind=RUN_KIND, state__in=[RunState.QUEUED, RunState.RUNNING])
    return alive.first()


def line_shown(row: PlanLine) -> LineShown:
    told = row.document
    scenarios = tuple(
        Scenario(
            words=scenario_words(name),
            quantity=one["quantity"],
            point=one["reorder_point"],
            same=(one["quantity"], one["reorder_point"]) == (told["wanted"], told["reorder_point"]),
        )
        for name, one in told["scenarios"].items()
    )
    return LineShown(row, told, method_words(told["method"]), compared_words(told), runs_out_words(told), scenarios)
