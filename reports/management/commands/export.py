"""Writes all records of the shop to a documented zip: `manage.py export FILE.zip [--json]`."""

import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils.translation import gettext as _

from reports.take import export_write


class Command(BaseCommand):
    help = _("Write everything that the shop has in its books to a zip.")

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", metavar="FILE.zip", help=_("Where the zip goes."))
        parser.add_argument("--json", action="store_true", help=_("Write the manifest’s entries as JSON."))

    def handle(self, *args: Any, **options: Any) -> None:
        path = Path(options["file"])
        part = path.with_name(f"{path.name}.part")
        try:
            with part.open("wb") as out:
                entries = export_write(out)
            part.replace(path)
        except OSError as error:
            words = _("{file} cannot be written: {why}.").format(file=path, why=error.strerror)
            raise CommandError(words, returncode=2) from error
        finally:
            part.unlink(missing_ok=True)
        if options["json"]:
            self.stdout.write(json.dumps(entries, ensure_ascii=False, indent=2))
            return
        rows = sum(entry["rows"] for name, entry in entries.items() if name.endswith(".jsonl"))
        told = _("{file}: {entries} entries, {rows} rows.")
        self.stdout.write(told.format(file=path, entries=len(entries), rows=rows))
