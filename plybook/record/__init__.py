"""Reading what was filled in at the bench: the record, checked against the plan, and as a book."""

from plybook.record.asbuilt import as_built, builders_log, log_rows
from plybook.record.compare import compare
from plybook.record.reading import LIMIT_BYTES, Record, read_record

__all__ = [
    "LIMIT_BYTES", "Record", "as_built", "builders_log", "compare", "log_rows", "read_record",
]  # fmt: skip
