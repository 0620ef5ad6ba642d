"""Bringing old records into the books: what becomes of each row of a table, and the writes, all of them or none."""

from reports.bring.files import (
    LARGEST,
    files_tidy,
    import_ask,
    import_drop,
    import_match,
    import_run,
    import_send,
    table_of_file,
)
from reports.bring.records import Brought, NotBrought, fates_of, records_import, table_asked

__all__ = [
    "LARGEST",
    "Brought",
    "NotBrought",
    "fates_of",
    "files_tidy",
    "import_ask",
    "import_drop",
    "import_match",
    "import_run",
    "import_send",
    "records_import",
    "table_asked",
    "table_of_file",
]
