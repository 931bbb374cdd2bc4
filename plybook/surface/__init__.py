"""The mould face: loft, flat pattern, the maps between them, and what flattening costs."""

from plybook.surface.face import build_face, face_of

__all__ = ["build_face", "face_of", "open_room"]


def open_room() -> None:
    """Load the libraries that a curved face needs, ahead of time."""
    import scipy.interpolate
    import scipy.sparse.csgraph
    import scipy.sparse.linalg
    import scipy.spatial  # noqa: F401
