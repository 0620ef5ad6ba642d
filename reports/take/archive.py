"""The zip that records are taken along in: tables streamed as CSV and as JSON lines, files, a README and a manifest."""

import csv
import io
import json
import zipfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time
from hashlib import sha256
from typing import IO, Any

from django.core.files.storage import Storage

_BLOCK = 1 << 20
Rows = Callable[[], Iterable[Sequence[Any]]]
"""The rows of a table, each time from the start: they are read once for each form."""


@dataclass(slots=True)
class Archive:
    """`entries`: name -> {"sha256", "bytes", "rows" (tables)}; `missing`: files that the books name and nobody has."""

    zip: zipfile.ZipFile
    entries: dict[str, dict[str, Any]] = field(default_factory=dict)
    missing: list[str] = field(default_factory=list)

    def table(self, name: str, columns: Sequence[str], rows: Rows) -> int:
        """`name`.csv and `name`.jsonl; how many rows."""
        count = self.csv(name, columns, rows)
        with self._entry(f"{name}.jsonl") as out:
            for row in rows():
                record = dict(zip(columns, row, strict=True))
                out.write(json.dumps(record, default=_said, ensure_ascii=False).encode() + b"\n")
        self.entries[f"{name}.jsonl"]["rows"] = count
        return count

    def csv(self, name: str, columns: Sequence[str], rows: Rows) -> int:
        count = 0
        with self._entry(f"{name}.csv") as out:
            text = io.TextIOWrapper(out, encoding="utf-8", newline="", write_through=True)
            writer = csv.writer(text)
            writer.writerow(columns)
            for row in rows():
                writer.writerow([_plain(value) for value in row])
                count += 1
            text.detach()
        self.entries[f"{name}.csv"]["rows"] = count
        return count

    def text(self, name: str, words: str) -> None:
        with self._entry(name) as out:
            out.write(words.encode())

    def stored(self, storage: Storage, name: str) -> None:
        """A file of the books, below files/; one that is not there stands in the manifest as missing."""
        try:
            source = storage.open(name, "rb")
        except OSError:
            self.missing.append(name)
            return
        with source, self._entry(f"files/{name}") as out:
            while block := source.read(_BLOCK):
                out.write(block)

    def finish(self, **about: Any) -> None:
        """Write the manifest, the last entry, which lists all others."""
        manifest = {**about, "entries": self.entries, "missing": self.missing}
        self.zip.writestr("manifest.json", json.dumps(manifest, indent=1, ensure_ascii=False))

    def _entry(self, name: str) -> "_Entry":
        return _Entry(self, name, self.zip.open(name, "w", force_zip64=True))


class _Entry(io.RawIOBase):
    """One entry while it is written; its digest stands in the archive once it is closed."""

    def __init__(self, archive: Archive, name: str, out: IO[bytes]) -> None:
        self.archive, self.name, self.out = archive, name, out
        self.digest, self.bytes = sha256(), 0

    def writable(self) -> bool:
        return True

    def write(self, data: Any) -> int:
        self.digest.update(data)
        self.bytes += len(data)
        self.out.write(data)
        return len(data)

    def close(self) -> None:
        if not self.closed:
            self.out.close()
            self.archive.entries[self.name] = {"sha256": self.digest.hexdigest(), "bytes": self.bytes}
        super().close()


@contextmanager
def archive_to(out: IO[bytes]) -> Iterator[Archive]:
    """An archive on a seekable file, closed at the end; what broke off has no manifest."""
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, allowZip64=True) as file:
        yield Archive(file)


def _plain(value: Any) -> str:
    """As JSON has it, text and what JSON writes as text without quotation marks; nothing for nothing."""
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    if isinstance(value, bool | int | float | list | dict):
        return json.dumps(value, ensure_ascii=False)
    return _said(value)


def _said(value: Any) -> str:
    """Moments in UTC, all of their digits."""
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    return value.isoformat() if isinstance(value, date | time) else str(value)
