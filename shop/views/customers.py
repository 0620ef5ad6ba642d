"""Customers."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe
from django.views.decorators.vary import vary_on_headers

from shop import selectors, services
from shop.forms import CustomerForm, owner_label
from shop.http import ShopRequest
from shop.models import Customer
from shop.permissions import needs


@require_safe
@vary_on_headers("HX-Request")
def customer_list(request: ShopRequest) -> HttpResponse:
    words = request.GET.get("q") or request.GET.get("owner", "")
    found = selectors.customers_found(words)
    if request.GET.get("as") == "options":
        labels = [owner_label(customer) for customer in found]
        return render(request, "shop/customers.html#options", {"labels": labels})
    part = "#found" if request.htmx else ""
    return render(request, f"shop/customers.html{part}", {"customers": found, "words": words})


@require_safe
def customer(request: ShopRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Customer, pk=pk)
    return render(request, "shop/customer.html", {"customer": found, "times": selectors.cars_of_customer(found)})


@needs("customer.write")
def customer_new(request: ShopRequest) -> HttpResponse:
    form = CustomerForm(request.POST or None)
    if request.method != "POST":
        return render(request, "shop/customer_form.html", {"form": form})
    if not form.is_valid():
        return render(request, "shop/customer_form.html", {"form": form}, status=422)
    made = services.customer_create(by=request.user, **form.cleaned_data)
    messages.success(request, _("{name} is in the books.").format(name=made))
    return redirect("shop:customer", made.pk)


@needs("customer.write")
def customer_edit(request: ShopRequest, pk: int) -> HttpResponse:
    there = get_object_or_404(Customer, pk=pk)
    if request.method != "POST":
        return render(request, "shop/customer_form.html", {"form": CustomerForm(instance=there), "customer": there})
    form = CustomerForm(request.POST)
    if not form.is_valid():
        return render(request, "shop/customer_form.html", {"form": form, "customer": there}, status=422)
    services.customer_update(customer=there, by=request.user, **form.cleaned_data)
    return redirect("shop:customer", pk)
