"""plybook: from a YAML part spec to a ply book and a cut plan."""

__version__ = "0.1.0"
