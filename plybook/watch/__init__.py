"""Live work: rebuild on every save and keep a page in the browser fresh.

Terms:
    round: one rebuild, from reading the specs to new files or to findings.
    good: the last round that wrote files; the page shows it until there is a newer one.
"""

from plybook.watch.loop import Watch
from plybook.watch.server import serve

__all__ = ["Watch", "serve"]
