"""The people of the shop, as the owner sees them: who works here, who is invited, and what was done by whom."""

from django.conf import settings
from django.contrib import messages
from django.core.mail import send_mail
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from shop import services
from shop.errors import ShopError
from shop.http import ShopRequest, absolute, no_path_told
from shop.models import Invitation, ShopProfile, User
from shop.people_forms import DayForm, InvitationForm, RoleForm
from shop.permissions import needs
from shop.selectors import people as reads

ENTRIES_A_PAGE = 40


@require_POST
def tour(request: ShopRequest) -> HttpResponse:
    services.tour_dismiss(user=request.user)
    return HttpResponse() if request.htmx else redirect("shop:floor")


@require_safe
@needs("people.manage")
def people(request: ShopRequest) -> HttpResponse:
    return _people_page(request, InvitationForm())


def _people_page(request: ShopRequest, form: InvitationForm, status: int = 200) -> HttpResponse:
    context = {"people": reads.people(), "invitations": reads.invitations_waiting(), "form": form}
    return render(request, "shop/people/people.html", context, status=status)


@never_cache
@needs("people.manage")
def invite(request: ShopRequest) -> HttpResponse:
    """POST: an invitation and its mail; the address is on the answer this once. GET: the way back to the form."""
    if request.method != "POST":
        return redirect("shop:people")
    form = InvitationForm(request.POST)
    if not form.is_valid():
        return _people_page(request, form, 422)
    try:
        made, token = services.invitation_make(by=request.user, **form.cleaned_data)
    except ShopError as error:
        form.add_error("email", error.words)
        return _people_page(request, form, error.status)
    return _invited(request, made, token)


@require_POST
@never_cache
@needs("people.manage")
def resend(request: ShopRequest, pk: int) -> HttpResponse:
    made, token = services.invitation_resend(invitation=get_object_or_404(Invitation, pk=pk), by=request.user)
    return _invited(request, made, token)


def _invited(request: ShopRequest, invitation: Invitation, token: str) -> HttpResponse:
    link = absolute(request, reverse("shop:join", args=[token]))
    context = {"invitation": invitation, "link": link, "shop": ShopProfile.objects.first(), "by": request.user}
    text = render_to_string("shop/people/invitation_mail.txt", context)
    subject = _("Your sign-in at {shop}").format(shop=context["shop"] or _("the shop"))
    try:
        send_mail(" ".join(subject.split()), text, None, [invitation.email])
    except OSError:  # the mail server does not answer, or refuses (SMTPException is one): the address is on the page
        context["not_sent"] = True
    return no_path_told(render(request, "shop/people/invited.html", {**context, "console": _no_mail_leaves()}))


def _no_mail_leaves() -> bool:
    """Whether mails of this installation stay on its console."""
    return str(settings.EMAIL_BACKEND).endswith("console.EmailBackend")


@require_POST
@needs("people.manage")
def revoke(request: ShopRequest, pk: int) -> HttpResponse:
    services.invitation_revoke(invitation=get_object_or_404(Invitation, pk=pk), by=request.user)
    messages.success(request, _("The invitation is revoked: its address opens nothing any more."))
    return redirect("shop:people")


@require_safe
@needs("people.manage")
def person(request: ShopRequest, pk: int) -> HttpResponse:
    """One person: role, sign-ins, second factor, and what they did (`?only=`, `?day=`, `?page=`)."""
    found = get_object_or_404(reads.people(), pk=pk)
    only, day = request.GET.get("only", ""), DayForm(request.GET)
    chosen = day.cleaned_data["day"] if day.is_valid() else None
    entries = reads.done_by(found, only, chosen)
    context = {
        "person": found,
        "role_form": RoleForm(initial={"role": found.role}),
        "sessions": reads.sessions_of(found),
        "filters": [(key, label) for key, (label, _kinds) in reads.PERSON_FILTERS.items()],
        "only": only if only in reads.PERSON_FILTERS else "",
        "day_form": day,
        "day": chosen.isoformat() if chosen else "",
        "page": Paginator(entries, ENTRIES_A_PAGE).get_page(request.GET.get("page")),
    }
    return render(request, "shop/people/person.html", context)


@require_POST
@needs("people.manage")
def role(request: ShopRequest, pk: int) -> HttpResponse:
    found, form = get_object_or_404(User, pk=pk), RoleForm(request.POST)
    if not form.is_valid():
        raise ShopError(_("Choose one of the roles of the list."))
    services.person_set_role(person=found, by=request.user, role=form.cleaned_data["role"])
    messages.success(request, _("The role is changed; {person} signs in anew.").format(person=found))
    return redirect("shop:floor" if found.pk == request.user.pk else "shop:people")


@require_POST
@needs("people.manage")
def leave(request: ShopRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(User, pk=pk)
    services.person_leave(person=found, by=request.user)
    messages.success(request, _("{person} cannot sign in any more. All they did stays theirs.").format(person=found))
    return redirect("shop:people")


@require_POST
@needs("people.manage")
def come_back(request: ShopRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(User, pk=pk)
    services.person_return(person=found, by=request.user)
    messages.success(request, _("{person} can sign in again.").format(person=found))
    return redirect("shop:person", pk)


@require_POST
@needs("people.manage")
def factor_reset(request: ShopRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(User, pk=pk)
    services.second_factor_reset(person=found, by=request.user)
    messages.success(request, _("The second factor of {person} is gone; they are signed out.").format(person=found))
    return redirect("shop:person", pk)
