"""Who may do what: one table, asked on the server by every write and used by templates to offer only what works."""

from collections.abc import Callable, Mapping
from functools import wraps
from typing import Any, Concatenate, ParamSpec

from django.http import HttpResponse
from django.utils.translation import gettext as _

from shop.errors import Refused
from shop.http import ShopRequest
from shop.models import Role, User

P = ParamSpec("P")

_T, _C, _P, _O = Role.TECHNICIAN, Role.COUNTER, Role.PARTS, Role.OWNER
MAY: Mapping[str, frozenset[str]] = {
    "customer.write": frozenset({_C, _O}),
    "car.write": frozenset({_C, _T, _O}),
    "job.write": frozenset({_C, _T, _O}),
    "job.note": frozenset({_T, _C, _P, _O}),
    "job.override": frozenset({_O}),
    "bench.write": frozenset({_T, _O}),
    "instrument.write": frozenset({_T, _O}),
    "work.write": frozenset({_T, _O}),
    "system.draft": frozenset({_T, _O}),
    "system.publish": frozenset({_O}),
    "part.write": frozenset({_P, _O}),
    "shelf.write": frozenset({_P, _O}),
    "shelf.issue": frozenset({_T, _P, _O}),
    "need.write": frozenset({_T, _C, _P, _O}),
    "order.write": frozenset({_P, _O}),
    "enquiry.write": frozenset({_C, _T, _O}),
    "enquiry.erase": frozenset({_O}),
    "commission.erase": frozenset({_C, _O}),
    "inspection.open": frozenset({_C, _T, _O}),
    "inspection.skip": frozenset({_O}),
    "certificate.issue": frozenset({_T, _O}),
    "certificate.withdraw": frozenset({_O}),
    "learning.ask": frozenset({_T, _P, _O}),
    "range.decide": frozenset({_O}),
    "run.cancel": frozenset({_O}),
    "plan.write": frozenset({_T, _C, _O}),
    "clock.write": frozenset({_T, _C, _P, _O}),
    "clock.correct": frozenset({_O}),
    "bay.write": frozenset({_O}),
    "estimate.write": frozenset({_C, _O}),
    "outlay.write": frozenset({_C, _P, _O}),
    "rates.write": frozenset({_O}),
    "car.merge": frozenset({_C, _O}),
    "figures.see": frozenset({_O}),
    "people.manage": frozenset({_O}),
    "records.bring": frozenset({_O}),
    "records.take": frozenset({_O}),
}


def may(user: Any, what: str) -> bool:
    """Whether `user` may do `what` (a key of MAY; an unknown key is a programming error)."""
    allowed = MAY[what]
    return bool(isinstance(user, User) and user.is_active and user.role in allowed)


def require(user: Any, what: str) -> None:
    if not may(user, what):
        raise Refused(_("Your role does not allow this. Ask the owner of the shop."))


def needs(
    what: str,
) -> Callable[
    [Callable[Concatenate[ShopRequest, P], HttpResponse]], Callable[Concatenate[ShopRequest, P], HttpResponse]
]:
    """A view that only people with the permission get; others see the 403 page with the reason."""

    def wrap(
        view: Callable[Concatenate[ShopRequest, P], HttpResponse],
    ) -> Callable[Concatenate[ShopRequest, P], HttpResponse]:
        @wraps(view)
        def inner(request: ShopRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
            require(request.user, what)
            return view(request, *args, **kwargs)

        return inner

    return wrap
