"""Old records as tables: read from files of other programs, matched, and what becomes of each row. Without Django."""
