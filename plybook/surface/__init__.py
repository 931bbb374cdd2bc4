"""The mould face: loft, flat pattern, the maps between them, and what flattening costs."""

from plybook.surface.face import build_face, face_of

__all__ = ["build_face", "face_of"]
