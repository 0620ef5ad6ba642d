"""What people type to join, to sign in and to be known again."""

from typing import Any

from django import forms
from django.contrib.auth import authenticate
from django.contrib.auth.forms import PasswordChangeForm, SetPasswordForm, UserCreationForm
from django.http import HttpRequest
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from shop import services
from shop.models import Role, User

_CODE = {"autocomplete": "one-time-code", "autocapitalize": "characters", "spellcheck": "false", "class": "mono"}


def code_field(label: Any, help_text: Any = "") -> forms.CharField:
    """A code by time or a recovery code. Longer than either is with its spaces and hyphens, and no text."""
    widget = forms.TextInput(attrs=_CODE)
    return forms.CharField(label=label, max_length=24, help_text=help_text, widget=widget)


class InvitationForm(forms.Form):
    name = forms.CharField(label=gettext_lazy("Name"), max_length=120)
    email = forms.EmailField(label=gettext_lazy("E-mail"), max_length=254)
    role = forms.ChoiceField(label=gettext_lazy("Role"), choices=Role.choices)


class RoleForm(forms.Form):
    role = forms.ChoiceField(label=gettext_lazy("Role"), choices=Role.choices)


class JoinForm(UserCreationForm):  # type: ignore[type-arg]
    """User name and password of an invited person; the validators of the settings hold."""

    class Meta:
        model = User
        fields = ("username",)


class CodeForm(forms.Form):
    """The second page of signing in, for the `user` whose password was right."""

    code = code_field(
        gettext_lazy("Code"), gettext_lazy("Six digits from the app on your telephone, or one of your recovery codes.")
    )

    def __init__(self, request: HttpRequest, user: User, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.request, self.user, self.found = request, user, None
        self.fields["code"].widget.attrs["autofocus"] = True

    def clean_code(self) -> str:
        code: str = self.cleaned_data["code"]
        self.found = authenticate(self.request, username=self.user.username, code=code)  # type: ignore[assignment]
        if self.found is None:
            raise forms.ValidationError(
                _("This code does not count: each counts once and for about half a minute. Type the next one.")
            )
        return code


class ConfirmForm(forms.Form):
    """The first code of a secret that was just shown; `hidden` is that secret, readable by this installation alone."""

    hidden = forms.CharField(widget=forms.HiddenInput, max_length=400)
    code = code_field(gettext_lazy("Code that the app shows now"))


class FreshCodeForm(forms.Form):
    """For what the second factor itself is asked for."""

    code = code_field(
        gettext_lazy("A code of now"), gettext_lazy("Or one of your recovery codes, which is then used up.")
    )


class DayForm(forms.Form):
    day = forms.DateField(label=gettext_lazy("Day"), required=False, widget=forms.DateInput(attrs={"type": "date"}))


class _NewPassword(forms.Form):
    user: User
    except_key = ""

    def save(self, commit: bool = True) -> User:
        password = self.cleaned_data["new_password1"]
        self.user = services.password_set(user=self.user, password=password, except_key=self.except_key)
        return self.user


class ForgottenForm(_NewPassword, SetPasswordForm):  # type: ignore[type-arg]
    """Behind the link of the mail: every session of the person ends."""


class ChangePasswordForm(_NewPassword, PasswordChangeForm):
    """Every session ends but the one with `except_key`."""
