"""Reading what was filled in at the bench: the record, checked against the plan, and as a book."""

from plybook.record.asbuilt import as_built
from plybook.record.compare import compare
from plybook.record.reading import LIMIT_BYTES, Record, read_record

__all__ = ["LIMIT_BYTES", "Record", "as_built", "compare", "read_record"]
