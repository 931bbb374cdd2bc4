"""The PDF library, imported in this one place: without settings of the user or of a folder."""

from plybook.libraries import as_published

with as_published():
    from reportlab import rl_config
    from reportlab.lib.rl_accel import fp_str
    from reportlab.lib.utils import ImageReader
    from reportlab.pdfbase import pdfdoc, pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont
    from reportlab.pdfgen.canvas import Canvas

__all__ = ["Canvas", "ImageReader", "TTFont", "fp_str", "pdfdoc", "pdfmetrics", "rl_config"]
