"""What to order, when, how many and why: `manage.py plan_shelf --as-of DATE [--months N] [--json]`."""

import datetime as dt
import json
import sys
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand
from django.db import DatabaseError
from django.utils import timezone
from django.utils.translation import gettext as _

from parts.selectors.past_stock import past_stock
from parts.services.plan import computed
from shop.errors import ShopError


class Command(BaseCommand):
    help = _("Plan the shelf as of a day: parts, quantities and reasons. Nothing is kept or ordered.")
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--as-of", metavar="DATE", help=_("YYYY-MM-DD; today without it."))
        parser.add_argument("--months", type=int, default=12, help=_("Months of forecast, 1 to 24."))
        parser.add_argument("--json", action="store_true", help=_("Write one JSON object instead of lines."))

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            day = dt.date.fromisoformat(options["as_of"]) if options["as_of"] else timezone.localdate()
        except ValueError:
            self._refuse(_("“{day}” is no day; expected YYYY-MM-DD.").format(day=options["as_of"]))
        try:
            past = day < timezone.localdate()
            whole, lines = computed(day, options["months"], stock=past_stock(day) if past else None)
        except ShopError as error:
            self._refuse(error.words)
        except DatabaseError as error:
            self._refuse(_("The database cannot be read: {why}.").format(why=str(error).splitlines()[0]))
        if past:
            told = _(
                "Stock, orders and needs are as of the end of {day}; pieces given up and needs dropped since then "
                "count as gone before, and prices, lead times, the open jobs’ suspects and what is learned are today’s."
            )
            whole["remark"] = told.format(day=day.isoformat())
        if options["json"]:
            self.stdout.write(json.dumps({**whole, "lines": lines}, ensure_ascii=False, indent=2))
            return
        for line in lines:
            if line["quantity"]:
                self.stdout.write(f"{line['quantity']:4d} × {line['part']} {line['name']}: {line['why']}")
        self.stdout.write(_("{cost} to order now.").format(cost=whole["cost"]))
        if past:
            self.stdout.write(whole["remark"])

    def _refuse(self, words: str) -> None:
        self.stderr.write(" ".join(words.split()))
        sys.exit(2)
