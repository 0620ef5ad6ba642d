"""`manage.py reset_second_factor NAME`: for an owner who lost telephone and recovery codes, at the computer itself."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils.translation import gettext as _

from shop.errors import ShopError
from shop.models import User
from shop.services import second_factor_reset


class Command(BaseCommand):
    help = _("Take away a person's second factor, to be set up anew at the next sign-in.")

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("name", help=_("The name that the person signs in with."))

    def handle(self, *args: Any, **options: Any) -> None:
        person = User.objects.filter(username=options["name"]).first()
        if person is None:
            raise CommandError(_("Nobody signs in here as {name}.").format(name=options["name"]), returncode=2)
        try:
            second_factor_reset(person=person, by=None)
        except ShopError as refused:
            raise CommandError(refused.words, returncode=2) from refused
        self.stdout.write(_("{person} sets up a second factor at the next sign-in.").format(person=person))
