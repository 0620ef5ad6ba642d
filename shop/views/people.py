"""Sign-in, sign-out and the tour."""

from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView, LogoutView
from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_POST

from shop import services
from shop.http import ShopRequest


class SignIn(LoginView):
    template_name = "shop/sign_in.html"
    redirect_authenticated_user = True

    def form_invalid(self, form: AuthenticationForm) -> HttpResponse:
        return self.render_to_response(self.get_context_data(form=form), status=422)


class SignOut(LogoutView):
    """By POST only, as Django has it."""


@require_POST
def tour(request: ShopRequest) -> HttpResponse:
    services.tour_dismiss(user=request.user)
    return HttpResponse() if request.htmx else redirect("shop:floor")
