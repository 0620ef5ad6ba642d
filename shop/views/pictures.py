"""Pictures: sent from the telephone, looked at large, described, paired, and the film of a car."""

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import FileResponse, Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from shop import selectors, services
from shop.errors import ShopError
from shop.forms import PictureForm, PictureWordsForm
from shop.http import ShopRequest
from shop.models import Car, Picture
from shop.permissions import needs
from shop.views.common import number_of
from shop.views.jobs import job_asked, job_page

FILM_PAGE = 96


@require_safe
def picture(_request: ShopRequest, pk: int) -> FileResponse:
    """The file itself, for signed-in people; a stored picture never changes, so their browsers may keep it."""
    found = get_object_or_404(Picture, pk=pk)
    return _file(found, str(found.file.name))


@require_safe
def picture_small(_request: ShopRequest, pk: int) -> FileResponse:
    """The small rendition, as it stands in a film."""
    found = get_object_or_404(Picture, pk=pk)
    try:
        return _file(found, services.small_of(found))
    except FileNotFoundError as error:
        raise Http404 from error


def _file(found: Picture, name: str) -> FileResponse:
    try:
        file = found.file.storage.open(name, "rb")
    except FileNotFoundError as error:
        raise Http404 from error
    kind = "image/png" if name.endswith(".png") else "image/jpeg"
    return FileResponse(file, content_type=kind, headers={"Cache-Control": "private, max-age=31536000, immutable"})


@require_POST
@needs("job.note")
def picture_new(request: ShopRequest, pk: int) -> HttpResponse:
    job = job_asked(pk)
    form = PictureForm(request.POST, request.FILES, job=job)
    if not form.is_valid():
        return job_page(request, job, 422, picture_form=form)
    data = form.cleaned_data
    said = {name: data[name] for name in ("caption", "position", "moment", "on_paper", "before")}
    uploads = [(file.name, file) for file in data["files"]]
    try:
        kept = services.pictures_add(job=job, by=request.user, uploads=uploads, **said)
    except ShopError as error:
        form.add_error("file", error.words)
        return job_page(request, job, error.status, picture_form=form)
    _tell(request, kept)
    if not kept.refused:
        return redirect(f"{job.get_absolute_url()}#pictures")
    for name, refusal in kept.refused:
        form.add_error("file", f"{name}: {refusal.words}" if len(uploads) > 1 else refusal.words)
    return job_page(request, job, kept.refused[0][1].status, picture_form=form)


def _tell(request: ShopRequest, kept: services.Kept) -> None:
    new, again = len(kept.new), len(kept.again)
    if new:
        messages.success(request, ngettext("The picture is kept.", "{n} pictures are kept.", new).format(n=new))
    if again:
        words = ngettext(
            "This picture is in the job already; it is kept once.",
            "{n} of these pictures are in the job already; each is kept once.",
            again,
        )
        messages.warning(request, words.format(n=again))


@require_safe
def picture_look(request: ShopRequest, pk: int) -> HttpResponse:
    return _look(request, _picture(pk))


@require_POST
@needs("job.note")
def picture_describe(request: ShopRequest, pk: int) -> HttpResponse:
    picture = _picture(pk)
    form = PictureWordsForm(request.POST)
    if form.is_valid():
        try:
            services.picture_describe(picture=picture, by=request.user, **form.cleaned_data)
            return redirect("shop:picture-look", pk)
        except ShopError as error:
            form.add_error(None, error.words)
    return _look(request, _picture(pk), 422, form=form)


@require_POST
@needs("job.note")
def picture_pair(request: ShopRequest, pk: int) -> HttpResponse:
    """`other`: the picture that was tapped beside this one."""
    picture = _picture(pk)
    other = Picture.objects.filter(pk=number_of(request.POST.get("other", ""))).first()
    if other is None:
        return _look(request, picture, 422, refused=_("Tap the other picture of the pair."))
    before, after = selectors.in_order(picture, other)
    try:
        services.picture_pair(before=before, after=after, by=request.user)
    except ShopError as error:
        return _look(request, picture, error.status, refused=error.words)
    return redirect("shop:picture-look", after.pk)


@require_POST
@needs("job.note")
def picture_unpair(request: ShopRequest, pk: int) -> HttpResponse:
    services.picture_unpair(after=_picture(pk), by=request.user)
    messages.success(request, _("The pair is taken apart; both pictures are kept."))
    return redirect("shop:picture-look", pk)


@require_safe
def car_pictures(request: ShopRequest, pk: int) -> HttpResponse:
    car = get_object_or_404(Car.objects.select_related("merged_into"), pk=pk)
    if car.merged_into is not None:
        return redirect("shop:car-pictures", car.merged_into.pk)
    pages = Paginator(selectors.pictures_of_car(car).order_by("at", "pk"), FILM_PAGE)
    page = pages.get_page(request.GET.get("page"))
    return render(request, "shop/carfile/film_page.html", {"car": car, "page": page, "film": selectors.film_of(page)})


def _picture(pk: int) -> Picture:
    rows = Picture.objects.select_related("job__car", "by", "before__by", "before__job", "after__by", "after__job")
    return get_object_or_404(rows, pk=pk)


def _look(request: ShopRequest, picture: Picture, status: int = 200, **more: Any) -> HttpResponse:
    after = selectors.after_of(picture)
    pair = (picture, after) if after else (picture.before, picture) if picture.before else None
    earlier, later = selectors.beside(picture)
    said = {name: getattr(picture, name) for name in ("caption", "position", "moment", "on_paper")}
    context = {
        "picture": picture,
        "pair": pair,
        "earlier": earlier,
        "later": later,
        "others": () if pair else selectors.to_pair_with(picture),
        "form": PictureWordsForm(initial=said),
    }
    return render(request, "shop/carfile/picture.html", context | more, status=status)
