"""The DXF library for writing, imported in this one place: without settings of the user."""

from plybook.libraries import as_published

with as_published():
    import ezdxf
    from ezdxf import options
    from ezdxf.enums import TextEntityAlignment

__all__ = ["TextEntityAlignment", "ezdxf", "options"]
