"""Brings a table of old records: `manage.py import_history FILE.csv|.xlsx [--kind K] [--column "heading=field"]`."""

import json
from argparse import ArgumentParser
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils.translation import gettext as _

from reports.bring import Brought, NotBrought, records_import, table_asked
from reports.records.columns import KINDS
from reports.records.fates import FATES
from reports.records.tables import TableError, open_table
from reports.records.values import ORDERS
from shop.errors import ShopError
from shop.models import Role, User

SHOWN_ROWS = 20
"""Refused rows that are told one by one without --json."""


class Command(BaseCommand):
    help = _("Bring a table of old records (CSV or XLSX) into the books, all of it or nothing.")

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", metavar="FILE", help=_("A CSV or XLSX file with a heading in its first row."))
        parser.add_argument("--kind", choices=KINDS, default="", help=_("Without it: told from the headings."))
        parser.add_argument("--sheet", default="", help=_("The sheet of a workbook; without it the first."))
        parser.add_argument(
            "--column", action="append", default=[], metavar="HEADING=FIELD", help=_("Which column holds a field.")
        )
        parser.add_argument(
            "--order", choices=[order for order in ORDERS if order], default="",
            help=_("How days such as 03/04/2014 are meant: day or month first."),
        )  # fmt: skip
        parser.add_argument(
            "--dry-run", action="store_true", help=_("Say what would become of each row; write nothing.")
        )
        parser.add_argument("--json", action="store_true", help=_("Write one JSON object instead of lines."))

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            brought = _brought(options)
        except NotBrought as error:
            self._tell(error.brought, options)
            raise CommandError(error.words, returncode=2) from error
        except (ShopError, TableError) as error:
            raise CommandError(" ".join(str(error).split()), returncode=2) from error
        self._tell(brought, options)

    def _tell(self, brought: Brought, options: dict[str, Any]) -> None:
        if options["json"]:
            rows = [{"row": f.row, "fate": f.fate, "key": f.key, "words": f.words} for f in brought.fates]
            told = {"written": brought.written, "counts": brought.tally.as_json(), "rows": rows}
            self.stdout.write(json.dumps(told, ensure_ascii=False, indent=2))
            return
        counts = brought.tally.counts
        self.stdout.write(", ".join(f"{fate} {counts[fate]}" for fate in FATES))
        refused = [fate for fate in brought.fates if fate.fate == "refused"]
        for fate in refused[:SHOWN_ROWS]:
            self.stdout.write(_("row {row}: {why}").format(row=fate.row, why=fate.words))


def _brought(options: dict[str, Any]) -> Brought:
    owner = User.objects.filter(role=Role.OWNER, is_active=True).order_by("pk").first()
    if owner is None:
        raise ShopError(_("There is no owner of the shop who could bring old records."))
    table = open_table(Path(options["file"]), sheet=options["sheet"])
    asked = table_asked(table, options["kind"], _columns(options["column"]))
    return records_import(
        table=table,
        kind=asked.kind,
        matching=asked.matching,
        order=options["order"],
        by=owner,
        dry_run=options["dry_run"],
    )


def _columns(given: Sequence[str]) -> dict[str, str]:
    """field -> heading. ShopError for what is not HEADING=FIELD."""
    out: dict[str, str] = {}
    for words in given:
        heading, equals, field = words.rpartition("=")
        if not equals or not heading.strip() or not field.strip():
            raise ShopError(_("“{words}” names no column; expected HEADING=FIELD.").format(words=words[:60]))
        out[field.strip()] = heading.strip()
    return out
