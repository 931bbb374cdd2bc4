"""Two builds held against each other: what changed between them, in words and drawings."""

from plybook.compare.changes import Changes, changes_between
from plybook.compare.overlay import overlay
from plybook.compare.words import as_dict, as_text

__all__ = ["Changes", "as_dict", "as_text", "changes_between", "overlay"]
