"""plybook: from a YAML part spec to a ply book and a cut plan."""

import os

__version__ = "0.1.0"

# Libraries would date the files by it; the same spec makes the same bytes at any time.
os.environ.pop("SOURCE_DATE_EPOCH", None)

# One thread for linear algebra: the same sums in the same order on any machine, and the sparse
# systems here are too small to gain from more. Must be set before numpy is first imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("OMP_NUM_THREADS", "1")
