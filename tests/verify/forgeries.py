"""Kinds of change to a built folder: what a careful forger does, by the kind of file.

Each is a name and a function from the bytes of a file (or the data of plan.json) to others. A
change that does nothing to a file gives None, and is tried on the next.
"""

import copy
import io
import re

from pypdf import PdfWriter
from pypdf.generic import (
    ArrayObject,
    DecodedStreamObject,
    DictionaryObject,
    FloatObject,
    NameObject,
    NumberObject,
    TextStringObject,
)

from tests.forging import pdf_of


def once(old, new, flags=re.DOTALL):
    """Exchange the first match of an expression."""

    def change(data):
        out, count = re.subn(old.encode(), new.encode(), data, count=1, flags=flags)
        return out if count and out != data else None

    return change


# ---------------------------------------------------------------- SVG

_IN_CUT = r'(<g [^>]*id="CUT"[^>]*>)'
_BOX = "M10 10 L60 10 L60 60 Z"
SVG_ELEMENTS = {
    "rect": '<rect x="9" y="9" width="70" height="40"/>',
    "line": '<line x1="1" y1="1" x2="80" y2="80"/>',
    "circle": '<circle cx="40" cy="40" r="9"/>',
    "ellipse": '<ellipse cx="40" cy="40" rx="9" ry="4"/>',
    "polygon": '<polygon points="1,1 50,1 50,50"/>',
    "polyline": '<polyline points="1,1 50,1 50,50"/>',
    "path": f'<path d="{_BOX}"/>',
    "use": '<use href="#CUT" x="5"/>',
    "image": '<image href="a.png" width="9" height="9"/>',
    "script": "<script>1</script>",
    "style": "<style>#CUT{display:none}</style>",
    "animate": '<animate attributeName="d" to="M0 0"/>',
    "set": '<set attributeName="stroke" to="white"/>',
    "foreignObject": "<foreignObject/>",
    "a": '<a href="http://x.example"><path d="M1 1 L2 2"/></a>',
    "mask": "<mask/>",
    "clipPath": "<clipPath/>",
    "filter": "<filter/>",
    "marker": "<marker/>",
    "pattern": "<pattern/>",
    "symbol": "<symbol/>",
    "switch": "<switch/>",
    "svg": '<svg width="20" height="20"><path d="M1 1 L2 2"/></svg>',
    "g": '<g transform="scale(2)"/>',
    "text": '<text x="20" y="20">+45°</text>',
    "tspan": "<tspan>90°</tspan>",
}
SVG_ATTRIBUTES = {
    "style": "stroke:#fff", "class": "x", "transform": "scale(1.01)", "opacity": "0",
    "visibility": "hidden", "display": "none", "clip-path": "url(#a)", "mask": "url(#a)",
    "filter": "url(#a)", "onload": "x()", "onclick": "x()", "stroke-opacity": "0",
    "vector-effect": "none", "pathLength": "1", "stroke-dashoffset": "3", "fill-opacity": "0",
    "stroke-width": "20", "stroke": "#ffffff", "stroke-dasharray": "1 30", "fill": "#ffffff",
}  # fmt: skip
SVG = {
    **{f"an element {name} among the cuts": once(_IN_CUT, rf"\1{text}")
       for name, text in SVG_ELEMENTS.items()},
    **{f"an element {name} at the end": once(r"</svg>\s*$", f"{text}</svg>")
       for name, text in SVG_ELEMENTS.items()},
    **{f"attribute {name} of the cut": once(_IN_CUT + r"<path ", rf'\1<path {name}="{value}" ')
       for name, value in SVG_ATTRIBUTES.items()},
    "white cuts": once(r'(id="CUT"[^>]*stroke=")#141414', r"\1#ffffff"),
    "dashed cuts": once(r'id="CUT" ', 'id="CUT" stroke-dasharray="1 9" '),
    "thick cuts": once(r'(id="CUT"[^>]*stroke-width=")0.7', r"\g<1>20"),
    "the cut on another layer": once(r'id="CUT"', 'id="GHOST"'),
    "a hidden group": once(r'<g ([^>]*id="CUT")', r'<g display="none" \1'),
    "a group of style": once(r'<g ([^>]*id="CUT")', r'<g style="stroke:none" \1'),
    "a turned root": once(r"<svg ", '<svg transform="rotate(3)" '),
    "a root of another size": once(r'width="(\d+)mm"', r'width="1\1mm"'),
    "a viewBox with an offset": once(r'viewBox="0 0', 'viewBox="5 0'),
    "a viewBox of another size": once(r'viewBox="0 0 (\d)', r'viewBox="0 0 1\1'),
    "a ratio of its own": once(r"<svg ", '<svg preserveAspectRatio="none" '),
    "a style sheet": once(r"\?>", '?><?xml-stylesheet href="a.css"?>'),
    "a document type": once(r"\?>", "?><!DOCTYPE svg>"),
    "another title": once(r"<title>[^<]*", "<title>X 1"),
    "another revision in the title": once(r"(<title>\S+ )[A-Z]", r"\1Z"),
    "another place of the drawing": once(r"stands at \(x \+ \d", "stands at (x + 9"),
    "words turned": once(r"rotate\((-?)(\d)", r"rotate(\g<1>7\2"),
    "words without their turn": once(r' transform="rotate[^"]*"', ""),
    "words stretched": once(r'textLength="(\d)', r'textLength="1\1'),
    "words of another size": once(r'font-size="(\d)', r'font-size="1\1'),
    "white words": once(r'(<text [^>]*fill=")#141414', r"\1#ffffff"),
    "words taken out": once(r"<text [^>]*>[^<]*</text>", ""),
    "words changed": once(r"(<text [^>]*>)[^<]", r"\1Q"),
    "words moved": once(r'(<text [^>]*x=")(\d)', r"\g<1>2\2"),
    "words in another face": once(r"'Source Sans Pro'", "'Wingdings'"),
    "a line taken out": once(r'(id="(?:DATUM|NET|FIBRE|AXIS)"[^>]*>)<path [^>]*/>', r"\1"),
    "a line moved": once(r'(id="(?:DATUM|NET|AXIS)"[^>]*><path d="M)(\d)', r"\g<1>3\2"),
    "a line of 100 mm of 101": once(r'(id="REFERENCE_100_MM".*?L)1', r"\g<1>2"),
    "a white area over all": once(
        r"</g></svg>", '<path d="M0 0 L900 0 L900 900 L0 900 Z" fill="#ffffff" /></g></svg>'),
    "an ink bar over words": once(
        r"</g></svg>", '<path d="M0 0 L900 0 L900 900 L0 900 Z" fill="#141414" /></g></svg>'),
}  # fmt: skip

# ---------------------------------------------------------------- DXF


def _entity(*tags):
    return "".join(f"{code:>3}\n{value}\n" for code, value in tags)


_HEAD = ((5, "FFF1"), (330, "17"), (100, "AcDbEntity"), (8, "CUT"))
DXF_ENTITIES = {
    "LINE": _entity((0, "LINE"), *_HEAD, (100, "AcDbLine"), (10, "0.0"), (20, "0.0"), (30, "0.0"),
                    (11, "99.0"), (21, "9.0"), (31, "0.0")),
    "CIRCLE": _entity((0, "CIRCLE"), *_HEAD, (100, "AcDbCircle"), (10, "50.0"), (20, "50.0"),
                      (30, "0.0"), (40, "9.0")),
    **{kind: _entity((0, kind), *_HEAD, (10, "0.0"), (20, "0.0"), (30, "0.0"), (40, "9.0"))
       for kind in ("ARC", "ELLIPSE", "SPLINE", "HATCH", "SOLID", "3DFACE", "POINT", "INSERT",
                    "IMAGE", "WIPEOUT", "MTEXT", "LEADER", "DIMENSION", "XLINE", "RAY", "TRACE",
                    "VIEWPORT", "ATTDEF", "REGION", "MLINE")},
}  # fmt: skip
DXF_CODES = {
    "extrusion": (230, "-1.0"), "invisible": (60, "1"), "colour": (62, "7"), "true colour":
    (420, "255"), "line type": (6, "DOT"), "scale of the line type": (48, "9.0"), "paper space":
    (67, "1"), "lineweight": (370, "200"), "thickness": (39, "20.0"), "elevation": (38, "5.0"),
    "width": (43, "20.0"), "start width": (40, "20.0"), "end width": (41, "20.0"), "bulge":
    (42, "0.5"), "transparency": (440, "33554687"), "data of a program": (1001, "ACAD"),
    "plot style": (390, "0"), "material": (347, "0"), "a remark": (999, "hello"),
    "a reactor": (102, "{ACAD_REACTORS"),
}  # fmt: skip
_CUT = r"(  0\nLWPOLYLINE\n(?:(?!  0\n).)*?  8\nCUT\n)"
_ENTITIES_END = r"(  2\nENTITIES\n.*?)(  0\nENDSEC\n)"
DXF = {
    **{f"an entity {kind}": once(_ENTITIES_END, rf"\1{text}\2")
       for kind, text in DXF_ENTITIES.items()},
    **{f"{name} of the cut": once(_CUT, rf"\g<1>{code:>3}\n{value}\n")
       for name, (code, value) in DXF_CODES.items()},
    "a layer off": once(r"(  2\nCUT\n 70\n0\n 62\n)", r"\1-"),
    "a layer frozen": once(r"(  2\nCUT\n 70\n)0", r"\g<1>1"),
    "a layer locked": once(r"(  2\nCUT\n 70\n)0", r"\g<1>4"),
    "a layer of another colour": once(r"(  2\nCUT\n 70\n0\n 62\n)7", r"\g<1>1"),
    "a layer that is not plotted": once(r"(  2\nCUT\n 70\n0\n 62\n7\n)", r"\g<1>290\n0\n"),
    "a layer of another weight": once(r"(  2\nCUT\n(?:(?!  0\n).)*?370\n)70", r"\g<1>5"),
    "a layer of another line": once(r"(  2\nCUT\n 70\n0\n 62\n7\n  6\n)CONTINUOUS", r"\1DOT"),
    "a layer of another name": once(r"(  0\nLAYER\n(?:(?!  0\n).)*?  2\n)CUT\n", r"\1COT\n"),
    "another unit": once(r"(\$INSUNITS\n 70\n)4", r"\g<1>1"),
    "inches": once(r"(\$MEASUREMENT\n 70\n)1", r"\g<1>0"),
    "a scale of dashes": once(r"(\$LTSCALE\n 40\n)1.0", r"\g<1>9.0"),
    "another version": once(r"AC1024", "AC1009"),
    "another extent": once(r"(\$EXTMAX\n 10\n)-?\d+", r"\g<1>1"),
    "another angle of nought": once(r"(\$ANGBASE\n 50\n)0.0", r"\g<1>45.0"),
    "clockwise angles": once(r"(\$ANGDIR\n 70\n)0", r"\g<1>1"),
    "quick words": once(r"(\$QTEXTMODE\n 70\n)0", r"\g<1>1"),
    "mirrored words": once(r"(\$MIRRTEXT\n 70\n)1", r"\g<1>0"),
    "another base": once(r"(\$INSBASE\n 10\n)0.0", r"\g<1>9.0"),
    "the piece of another": once(r"(\$CUSTOMPROPERTYTAG\n  1\npiece\n  9\n\$CUSTOMPROPERTY\n  1\n)",
                                 r"\1X"),
    "another revision": once(r"(  1\nrevision\n  9\n\$CUSTOMPROPERTY\n  1\n)", r"\1Z"),
    "another material": once(r"(  1\nmaterial\n  9\n\$CUSTOMPROPERTY\n  1\n)", r"\1x"),
    "another quantity": once(r"(  1\nquantity\n  9\n\$CUSTOMPROPERTY\n  1\n)", r"\g<1>1"),
    "the datum moved": once(r"(  8\n(?:DATUM|NET|AXIS)\n(?:100\n\w+\n)?.*? 10\n)(-?\d+)",
                            r"\g<1>\g<2>1"),
    "words turned": once(r"(  0\nTEXT\n(?:(?!  0\n).)*? 50\n)-?\d", r"\g<1>7"),
    "words changed": once(r"(  0\nTEXT\n(?:(?!  0\n).)*?  1\n)", r"\1Q"),
    "words of another height": once(r"(  0\nTEXT\n(?:(?!  0\n).)*? 40\n)", r"\g<1>1"),
    "words in two places": once(r"(  0\nTEXT\n(?:(?!  0\n).)*? 11\n)", r"\g<1>1"),
    "words drawn wide": once(r"(  0\nTEXT\n(?:(?!  0\n).)*?  1\n[^\n]*\n)", r"\1 41\n9.0\n"),
    "words slanted": once(r"(  0\nTEXT\n(?:(?!  0\n).)*?  1\n[^\n]*\n)", r"\1 51\n40.0\n"),
    "words upside down": once(r"(  0\nTEXT\n(?:(?!  0\n).)*?  1\n[^\n]*\n)", r"\1 71\n4\n"),
    "words in another style": once(r"  7\nPLYBOOK\n", "  7\nStandard\n"),
    "a style of another font": once(r"SourceSansPro-Regular\.ttf", "wingding.ttf"),
    "a style that writes backwards": once(r"(  2\nPLYBOOK\n.*?\n 71\n)0", r"\g<1>2"),
    "a line taken out": once(r"  0\nLINE\n(?:(?!  0\n).)*", ""),
    "a circle taken out": once(r"  0\nCIRCLE\n(?:(?!  0\n).)*", ""),
    "words taken out": once(r"  0\nTEXT\n(?:(?!  0\n).)*", ""),
    "an open cut": once(_CUT + r"((?:(?!  0\n).)*? 70\n)1", r"\1\g<2>0"),
    "a cut on the layer of words": once(
        r"(  0\nLWPOLYLINE\n(?:(?!  0\n).)*?  8\n)CUT\n", r"\1TEXT\n"),
    "a section of pictures": once(
        r"(  0\nEOF\n)", r"  0\nSECTION\n  2\nTHUMBNAILIMAGE\n  0\nENDSEC\n\1"),
    "a block": once(r"(  2\nBLOCKS\n)", r"\1  0\nBLOCK\n  2\nX\n  0\nENDBLK\n"),
    "a tag after the end of a section": once(r"(  0\nENDSEC\n)", r"\g<1>999\nhello\n"),
}  # fmt: skip

# ---------------------------------------------------------------- PDF


def _page(work):
    """Change the page half way through a PDF by its writer."""

    def change(data):
        writer = PdfWriter(clone_from=io.BytesIO(data))
        page = writer.pages[len(writer.pages) // 2]
        return pdf_of(writer) if work(writer, page) is not False else None

    return change


def _content(before=b"", after=b"", swap=None):
    def work(writer, page):
        data = page.get_contents().get_data()
        if swap:
            out = re.sub(swap[0], swap[1], data, count=1, flags=re.DOTALL)
            if out == data:
                return False
            data = out
        stream = DecodedStreamObject()
        stream.set_data(before + data + after)
        page[NameObject("/Contents")] = writer._add_object(stream)
        return None

    return _page(work)


def _key(where, key, value):
    def work(writer, page):
        held = {"page": page, "root": writer._root_object, "pages": writer._root_object["/Pages"],
                "resources": page["/Resources"]}[where]  # fmt: skip
        held[NameObject(key)] = value(writer, page)

    return _page(work)


def _box(*numbers):
    return lambda writer, page: ArrayObject([FloatObject(n) for n in numbers])


def _action(writer, page):
    return DictionaryObject({NameObject("/S"): NameObject("/URI"),
                             NameObject("/URI"): TextStringObject("http://x.example")})  # fmt: skip


def _annotation(kind):
    def value(writer, page):
        note = DictionaryObject({
            NameObject("/Type"): NameObject("/Annot"), NameObject("/Subtype"): NameObject(kind),
            NameObject("/Rect"): ArrayObject([FloatObject(n) for n in (9, 9, 200, 200)]),
            NameObject("/F"): NumberObject(4), NameObject("/Contents"): TextStringObject("0"),
        })  # fmt: skip
        return ArrayObject([writer._add_object(note)])

    return value


def _form(writer, page):
    stream = DecodedStreamObject()
    stream.set_data(b"0 0 m 99 99 l S")
    stream[NameObject("/Type")] = NameObject("/XObject")
    stream[NameObject("/Subtype")] = NameObject("/Form")
    stream[NameObject("/BBox")] = ArrayObject([FloatObject(n) for n in (0, 0, 99, 99)])
    return DictionaryObject({NameObject("/X"): writer._add_object(stream)})


def _empty(writer, page):
    return DictionaryObject()


def _attach(writer, page):
    writer.add_attachment("a.txt", b"hello")


def _drop_page(writer, page):
    writer.remove_page(len(writer.pages) - 1)


def _one_more_page(writer, page):
    writer.add_page(page)


def _some(pattern, to, share):
    """Change one of all matches of an expression in a file: a share of the pages that have any
    stands before, and of the matches on that page.

    `to` makes of the numbers that were found the bytes that stand there instead.
    """

    def change(data):
        writer = PdfWriter(clone_from=io.BytesIO(data))
        pages = [(page, page.get_contents().get_data()) for page in writer.pages]
        found = [(*one, list(re.finditer(pattern, one[1]))) for one in pages]
        found = [one for one in found if one[2]]
        if not found:
            return None
        page, held, matches = found[min(int(share * len(found)), len(found) - 1)]
        one = matches[min(int(share * len(matches)), len(matches) - 1)]
        stream = DecodedStreamObject()
        numbers = [float(part) for part in one.groups()]
        stream.set_data(held[: one.start()] + to(*numbers).encode() + held[one.end() :])
        page[NameObject("/Contents")] = writer._add_object(stream)
        return pdf_of(writer)

    return change


_N = rb"(-?[\d.]+)"
_RULED = b" ".join([_N, _N, b"m", _N, _N, b"l S"])
_BOXED = b" ".join([b"n", *[_N] * 4, b"re S"])
_PLACES = {"at the start": 0.02, "half way": 0.5, "at the end": 0.999}


def _words_by(dx, dy):
    def to(*numbers):
        *turn, x, y = numbers
        held = " ".join(f"{n:.6f}" for n in (*turn, x + dx, y + dy))
        return f"BT 1 0 0 1 0 0 Tm {held} Tm"

    return to


def _rule_by(dx, dy, longer=0.0):
    def to(x, y, u, v):
        return f"{x + dx:.3f} {y + dy:.3f} m {u + dx + longer:.3f} {v + dy:.3f} l S"

    return to


def _box_by(dx, dy):
    return lambda x, y, w, h: f"n {x + dx:.3f} {y + dy:.3f} {w:.3f} {h:.3f} re S"


# what stands in some place of a page: a name, the expression it is found by, what becomes of it
_ELSEWHERE = (
    ("words pushed across", rb"(?:BT 1 0 0 1 0 0 Tm|BT) " + b" ".join([_N] * 6) + b" Tm",
     _words_by(57.0, 0.0)),
    ("words pushed down", rb"(?:BT 1 0 0 1 0 0 Tm|BT) " + b" ".join([_N] * 6) + b" Tm",
     _words_by(0.0, -23.0)),
    ("a rule pushed across", _RULED, _rule_by(31.0, 0.0)),
    ("a rule pushed down", _RULED, _rule_by(0.0, -7.0)),
    ("a rule made longer", _RULED, _rule_by(0.0, 0.0, 43.0)),
    ("a rule left out", _RULED, lambda *_: ""),
    ("a box pushed down", _BOXED, _box_by(0.0, -9.0)),
    ("a box pushed across", _BOXED, _box_by(29.0, 0.0)),
    ("a box left out", _BOXED, lambda *_: "n"),
)
ELSEWHERE = {
    f"{name} {where}": _some(pattern, to, share)
    for name, pattern, to in _ELSEWHERE
    for where, share in _PLACES.items()
}  # fmt: skip
_MOVED = rb"(BT (?:1 0 0 1 0 0 Tm )?(?:[-\d.]+ ){4})(?!0 )([\d.]+ )"
_ANY_LINE = b"0 0 m 300 300 l S "
PDF = {
    "a bare line": _content(after=b" " + _ANY_LINE),
    "a line marked as a cut": _content(after=b" /CUT BMC " + _ANY_LINE + b"EMC"),
    "a line marked as a ghost": _content(after=b" /GHOST BMC " + _ANY_LINE + b"EMC"),
    "a line marked as a dimension": _content(
        after=b" /DIMENSION BMC 0.078 0.078 0.078 RG 0.51 w [] 0 d 30 30 m 300 333 l S EMC"),
    "a line of a kind of its own": _content(after=b" /NEW BMC " + _ANY_LINE + b"EMC"),
    "a white line": _content(after=b" 1 1 1 RG 40 w " + _ANY_LINE),
    "a white box": _content(after=b" 1 1 1 rg 0 0 900 900 re f "),
    "a black bar": _content(after=b" 0 0 0 rg 0 100 900 300 re f "),
    "a box in ink": _content(after=b" .078431 .078431 .078431 rg 0 100 900 300 re f "),
    "a clip": _content(before=b"q 0 0 50 50 re W n ", after=b" Q"),
    "a clip of even and odd": _content(before=b"q 0 0 50 50 re W* n ", after=b" Q"),
    "a scale": _content(before=b"q 0.98 0 0 0.98 0 0 cm ", after=b" Q"),
    "a turn": _content(before=b"q 0 1 -1 0 500 0 cm ", after=b" Q"),
    "a mirror": _content(before=b"q -1 0 0 1 500 0 cm ", after=b" Q"),
    "a slant": _content(before=b"q 1 0.1 0 1 0 0 cm ", after=b" Q"),
    "a move off the paper": _content(before=b"q 1 0 0 1 5000 0 cm ", after=b" Q"),
    "invisible words": _content(before=b"3 Tr "),
    "words as a clip": _content(before=b"7 Tr "),
    "words apart": _content(before=b"9 Tc "),
    "words far apart": _content(before=b"9 Tw "),
    "words wide": _content(before=b"150 Tz "),
    "words raised": _content(before=b"9 Ts "),
    "a form": _content(after=b" /X Do"),
    "a picture in line": _content(after=b" BI /W 1 /H 1 /BPC 8 /CS /G ID a EI"),
    "a shading": _content(after=b" /S sh"),
    "a state of its own": _content(before=b"/G gs "),
    "a colour space": _content(before=b"/C cs "),
    "a colour in four inks": _content(before=b"0 0 0 0 K "),
    "an area in four inks": _content(before=b"0 0 0 0 k "),
    "a mitre": _content(before=b"9 M "),
    "flat curves": _content(before=b"50 i "),
    "a curve by v": _content(after=b" 0 0 m 9 9 99 99 v S"),
    "a curve by y": _content(after=b" 0 0 m 9 9 99 99 y S"),
    "a state that is not ended": _content(after=b" q"),
    "a mark that is not ended": _content(after=b" /CUT BMC"),
    "words of a standard type": _content(after=b" BT /F1 40 Tf 100 300 Td (999) Tj ET"),
    "words more": _content(after=b" BT /F2+0 12 Tf 1 0 0 1 100 300 Tm (9) Tj ET"),
    "words taken out": _content(swap=(rb"BT (?:(?!ET).)*\(..[^)]*\) Tj(?:(?!ET).)*ET", b"")),
    "words changed": _content(swap=(rb"\((\w)(\w)", rb"(\2\1\1")),
    "words moved": _content(swap=(_MOVED, rb"\g<1>2\2")),
    "words larger": _content(swap=(rb"(/F\d\+0) (\d)", rb"\1 9\2")),
    "words in white": _content(swap=(rb"(BT (?:[-\d.]+ ){6}Tm)", rb"1 1 1 rg \1")),
    "a line taken out": _content(swap=(rb"[\d.]+ [\d.]+ m [\d. ]+ l S", b"")),
    "a line dashed": _content(swap=(rb" m (?=[\d. l]+ S)", b" m [1 30] 0 d ")),
    "a line thick": _content(swap=(rb" m (?=[\d. l]+ S)", b" m 90 w ")),
    "a line moved": _content(swap=(rb"[\d.]+( [\d.]+ m )(?=[\d. l]+ S)", rb"200\1")),
    "an open action": _key("root", "/OpenAction", _action),
    "an action of the page": _key("page", "/AA", _empty),
    "actions of the file": _key("root", "/AA", _empty),
    "names": _key("root", "/Names", _empty),
    "a form to fill in": _key("root", "/AcroForm", _empty),
    "a collection": _key("root", "/Collection", _empty),
    "layers": _key("root", "/OCProperties", _empty),
    "an address": _key("root", "/URI", _empty),
    "a structure": _key("root", "/StructTreeRoot", _empty),
    "metadata": _key("root", "/Metadata", _empty),
    "another mode": _key("root", "/PageMode", lambda w, p: NameObject("/FullScreen")),
    "a layout of pages": _key("root", "/PageLayout", lambda w, p: NameObject("/TwoColumnLeft")),
    "a scale of print": _key("root", "/ViewerPreferences", _empty),
    "a unit": _key("page", "/UserUnit", lambda w, p: FloatObject(1.02)),
    "a crop": _key("page", "/CropBox", _box(90, 90, 300, 300)),
    "a trim": _key("page", "/TrimBox", _box(90, 90, 300, 300)),
    "a bleed": _key("page", "/BleedBox", _box(90, 90, 300, 300)),
    "an art box": _key("page", "/ArtBox", _box(90, 90, 300, 300)),
    "a page turned": _key("page", "/Rotate", lambda w, p: NumberObject(90)),
    "all pages turned": _key("pages", "/Rotate", lambda w, p: NumberObject(90)),
    "all pages cropped": _key("pages", "/CropBox", _box(90, 90, 300, 300)),
    "another paper": _key("page", "/MediaBox", _box(0, 0, 300, 300)),
    "a thumbnail": _key("page", "/Thumb", _empty),
    "a time to show": _key("page", "/Dur", lambda w, p: NumberObject(1)),
    "a group": _key("page", "/Group", _empty),
    "forms among the resources": _key("resources", "/XObject", _form),
    "states among the resources": _key("resources", "/ExtGState", _empty),
    "patterns among the resources": _key("resources", "/Pattern", _empty),
    "properties among the resources": _key("resources", "/Properties", _empty),
    **{f"an annotation {kind[1:]}": _key("page", "/Annots", _annotation(kind))
       for kind in ("/Square", "/FreeText", "/Link", "/Stamp", "/Widget", "/Redact", "/Ink")},
    "a file attached": _page(_attach),
    "a page taken out": _page(_drop_page),
    "a page twice": _page(_one_more_page),
    "a version more": lambda data: data + b"\nstartxref\n0\n%%EOF\n",
    "encrypted words": lambda data: data[: len(data) // 2],
}  # fmt: skip
# kinds that the tables of a PDF do not tell: held by what reads words and lines
BY_OTHERS = (
    "a line marked as a dimension", "a scale", "words taken out", "words changed", "words moved",
    "words larger", "words in white", "a line taken out", "a line moved", "a scale of print",
    "a page taken out", "a page twice",
)  # fmt: skip

OF_PAPER = {**{name: PDF[name] for name in BY_OTHERS}, **ELSEWHERE}

# ---------------------------------------------------------------- HTML

_STEP = r'(<section class="card step"[^>]*>)'
_HTML_ELEMENTS = {
    "script": "<script>1</script>", "style": "<style>p{}</style>", "iframe": "<iframe></iframe>",
    "object": "<object></object>", "embed": "<embed>", "link": '<link rel="stylesheet" href="a">',
    "base": '<base href="http://x.example">', "form": "<form></form>",
    "meta": '<meta http-equiv="refresh" content="0;url=http://x.example">', "img": '<img src="a">',
    "video": "<video></video>", "template": "<template></template>", "dialog": "<dialog></dialog>",
    "canvas": "<canvas></canvas>", "math": "<math></math>", "marquee": "<marquee></marquee>",
    "portal": "<portal></portal>", "slot": "<slot></slot>", "plaintext": "<plaintext>",
    "del": "<del>x</del>", "b": "<b>x</b>", "input": '<input type="hidden">',
    "a sentence": "<p>Leave the core out.</p>", "a caution": '<div class="caution">x</div>',
    "a list": "<ol class=\"steps\"><li>Wet it twice.</li></ol>", "a comment": "<!-- x -->",
    "a title": "<h3>Stop here</h3>", "loose words": "Leave it.",
}  # fmt: skip
_HTML_ATTRIBUTES = {
    "onclick": "x()", "onload": "x()", "style": "display:none", "hidden": "", "inert": "",
    "class": "unseen", "dir": "rtl", "contenteditable": "", "id": "undo", "popover": "",
    "accesskey": "a", "lang": "fr", "title": "x", "draggable": "true", "translate": "no",
}  # fmt: skip


def _two_pictures(data):
    """The first two pictures that name another piece each, in one another's place."""
    found = {}
    for match in re.finditer(rb"<noscript>(<svg .*?</svg>)</noscript>", data, re.DOTALL):
        label = re.search(rb'aria-label="Where [^"]* lies', match[1])
        if label:
            found.setdefault(label[0], match)
    if len(found) < 2:
        return None
    one, two = list(found.values())[:2]
    return b"".join((data[: one.start(1)], two[1], data[one.end(1) : two.start(1)], one[1],
                     data[two.end(1) :]))  # fmt: skip


PAGE = {
    **{f"{name} in a step": once(_STEP, rf"\1{text}") for name, text in _HTML_ELEMENTS.items()},
    **{f"{name} at the start": once(r"<body>\n", f"<body>\n{text}")
       for name, text in _HTML_ELEMENTS.items()},
    **{f"attribute {name} of a caution": once(r'<div class="caution" ',
                                              f'<div class="caution" {name}="{value}" ')
       for name, value in _HTML_ATTRIBUTES.items()},
    **{f"attribute {name} of a check": once(r'<label class="tick">',
                                            f'<label class="tick" {name}="{value}">')
       for name, value in _HTML_ATTRIBUTES.items()},
    "a weaker policy": once(r"default-src &#x27;none&#x27;", "default-src *"),
    "no policy": once(r'<meta http-equiv="Content-Security-Policy"[^>]*>\n', ""),
    "a verdict changed": once(r"(<script>.*?)===", r"\1!=="),
    "a script longer": once(r"</script>\n</body>", "x()</script>\n</body>"),
    "a style that hides cautions": once(r"</style>", ".caution{display:none}</style>"),
    "a style that hides checks": once(r"<style>", "<style>.tick{opacity:0}"),
    "a colour changed": once(r"--ink: #111", "--ink: #fff"),
    "a drawing in white": once(r"--k141414:#141414", "--k141414:#ffffff"),
    "a drawing dark by night": once(r"(drawings.*|)--k141414:#(?!141414)[0-9a-f]{6}",
                                    r"\1--k141414:#000000"),
    "hair lines": once(r"stroke-width:0\.7px", "stroke-width:0.01px"),
    "tiny letters": once(r"font-size:[\d.]+px(;font-weight:700)?\}", "font-size:0.1px}"),
    "a caution taken out": once(r'<div class="caution.*?</small></div></div>', ""),
    "a caution changed": once(r'(<div class="caution.*?<p>)\w+', r"\1Never mind"),
    "a source changed": once(r"Source: \w", "Source: Q"),
    "a check taken out": once(r'<label class="tick">.*?</label>', ""),
    "a check changed": once(r'(<span class="words">)\w', r"\1Q"),
    "work changed": once(r'(<ol class="steps"><li>)\w', r"\1Q"),
    "work taken out": once(r'<ol class="steps"><li>.*?</li>', '<ol class="steps">'),
    "work twice": once(r'<ol class="steps">(<li>.*?</li>)', r'<ol class="steps">\1\1'),
    "an angle in the contents": once(r"(<li><a href=[^>]*><span>[^<]*?)(\+?45|0)°", r"\g<1>90°"),
    "an angle in a title": once(r"(<h2 [^>]*>[^<]*?)(\+?45|0)°", r"\g<1>90°"),
    "an angle in large letters": once(r'(<div class="ids">.*?<span>)[-+\d]+°', r"\g<1>30°"),
    "an angle of a way": once(r"(Next<small>[^<]*?)(\+?45|0)°", r"\g<1>90°"),
    "an angle in a picture": once(r"(<text [^>]*>)[-+\d]+°", r"\g<1>33°"),
    "words more in a picture": once(r"(<text [^>]*>)([^<]+</text>)", r"\1\2\1Q</text>"),
    "words moved in a picture": once(r'<text x="[\d.]+"', '<text x="-50"'),
    "a picture mirrored": once(r"<noscript><svg ", '<noscript><svg transform="scale(-1 1)" '),
    "a picture taken out": once(r"<figure>.*?</figure>", ""),
    "a picture of another": once(r'<use href="#d\d+"/>', '<use href="#d0"/>'),
    "the part in the head": once(r"(<h1>)\w", r"\1Q"),
    "the revision in the head": once(r"revision [A-Z]", "revision Z"),
    "the title": once(r"<title>Ply book ", "<title>Ply book X"),
    "the record of another plan": once(r'"plan": "', '"plan": "0'),
    "the record of another part": once(r'"part": "', '"part": "0'),
    "the record of another revision": once(r'"revision": "', '"revision": "0'),
    "a printed record": once(r'"bench": true', '"bench": false'),
    "limits of a measure": once(r'data-high="', 'data-high="9'),
    "the least of a measure": once(r'data-low="\d', 'data-low="-9'),
    "a timer shorter": once(r'data-seconds="\d+"', 'data-seconds="1"'),
    "a timer of another name": once(r'data-label="', 'data-label="X'),
    "a field of another": once(r'data-field="s', 'data-field="t'),
    "a tray longer": once(r'data-tray="\d', 'data-tray="9'),
    "grams of a cup": once(r"(data-grams=\"\[\[&quot;\w+&quot;, )\d", r"\g<1>9"),
    "a way elsewhere": once(r'href="cutplan.pdf"', 'href="http://x.example"'),
    "a way to a script": once(r'href="cutplan.pdf"', 'href="javascript:x()"'),
    "a mass in a table": once(r"(<td[^>]*>)\d+\.\d+(</td>)", r"\g<1>9.99\2"),
    "less of a roll used": once(r"\d+(\D{1,2}in of a roll)", r"1\1"),
    "more of a sheet used": once("(wide|in); \\d+( |\u00a0)% used", r"\1; 99\2% used"),
    "a stack of a zone": once(r"(<td[^>]*>A1 \+)45°", r"\g<1>30°"),
    "layers of a zone": once(r"(<td[^>]*>A1 \+45°), A2 0°", r"\1"),
    "a page taken out": once(r'<section class="card table" id="p-resin".*?</section>', ""),
    "a mark-out figure": once(r"(<td[^>]*>1: )\d", r"\g<1>9"),
    "two pictures exchanged": _two_pictures,
    "a line moved in a picture": once(r'(<figure>.*?<path d="M)(\d)', r"\g<1>2\2"),
    "lines of another kind in a picture": once(r'<g class="s1">', '<g class="s3">'),
    "a picture mirrored by its words": once(r'(<text [^>]*)x="([\d.]+)" y="([\d.]+)"',
                                            r'\1x="\3" y="\2"'),
    "a window of a picture": once(r'viewBox="0 0 180 ', 'viewBox="0 0 80 '),
    "a window too large": once(r'viewBox="0 0 180 ([\d.]+)"', r'viewBox="0 0 1800 \g<1>0"'),
    "work in one sentence twice": once(r"(</h2>.*?)(<p>[^<]+</p>)", r"\1\2\2"),
    "grams with other decimals": once(r'data-decimals="\d"', 'data-decimals="0"'),
    "a cup of another step": once(r'data-cup="Cup 1"', 'data-cup="Cup 2"'),
    "lots of another material": once(r'data-offers="[^"]*"', 'data-offers="water"'),
    "a head of another column": once(r'data-head="\w', 'data-head="Q'),
    "the middle of a measure": once(r'data-expected="', 'data-expected="9'),
    "a unit of a measure": once(r'data-unit="\w', 'data-unit="k'),
    "a difference the other way": once(r'data-difference="(\S+) (\S+)"',
                                       r'data-difference="\2 \1"'),
    "a timer that the first cup starts": once(r'(<div class="timer" [^>]*)>',
                                              r'\1 data-with-first-cup>'),
    "a task of another stage": once(r'data-task="', 'data-task="Q'),
    "a choice of a ledger": once("use as is", "use as it is"),
    "a figure of a script of its own": once(r'data-seconds="', 'data-speed="2" data-seconds="'),
    "an element not closed": once(r"</section>", ""),
    "a font of other letters": once(r"base64,d09GRgABAAAA", "base64,d09GRgABAAAB"),
}  # fmt: skip
TABLE_PAGE = {
    "words of the cutting table": once(r"<p>Tape a rectangle", "<p>Skip the rectangle"),
    "a script of the cutting table": once(r"</script>\n</body>", "1</script>\n</body>"),
    "a style of the cutting table": once(r"</style>", "canvas{opacity:0}</style>"),
    "a point on the cutting table": once(r'("outline_mm": \[\[)', r"\g<1>1"),
    "an angle on the cutting table": once(r'("angle_deg": )', r"\g<1>1"),
    "a title of the cutting table": once(r"<title>Cutting table ", "<title>Cutting table X"),
    "an element on the cutting table": once(r"<main", "<script>1</script><main"),
}  # fmt: skip

# ---------------------------------------------------------------- tables


def _cell(column, to=None):
    """Change the first cell of a column that says something."""

    def change(data):
        lines = data.decode("utf-8-sig").splitlines(keepends=True)
        head = lines[0].strip().split(",")
        if column not in head or len(lines) < 2:
            return None
        for k, line in enumerate(lines[1:], start=1):
            cells = line.rstrip("\r\n").split(",")
            place = head.index(column)
            if '"' not in line and cells[place]:
                cells[place] = to or (f"9{cells[place]}" if cells[place][0].isdigit() else "X")
                lines[k] = ",".join(cells) + line[len(line.rstrip("\r\n")) :]
                return "".join(lines).encode()
        return None

    return change


CSV = {
    **{f"column {column}": _cell(column) for column in
       ("layer", "kind", "material", "angle_deg", "quantity", "stage", "length_mm", "width_mm",
        "area_m2", "thickness_mm", "growth_along_mm", "growth_across_mm", "growth_area_pct",
        "splice_part", "splice_of", "used_length_mm", "least_length_mm", "utilisation_pct",
        "pieces", "x_mm", "y_mm", "rotation_deg", "amount", "unit", "detail", "price", "resin",
        "batch_g", "component", "component_g", "pot_life_min", "text", "expected", "tolerance",
        "A11_N_mm", "D22_Nmm", "item", "group", "stock", "piece", "purpose", "check", "step",
        "figure", "mark", "to", "role", "of", "from", "side", "at_mm", "value_mm", "tape")},
    "the face of a piece": _cell("face_down", "yes"),
    "what is to buy": _cell("to_buy", "perhaps"),
    "a column more": once(r"\n", ",note\n"),
    "a cell more": once(r"\n([^\n]+?)(\r?\n)", r"\n\1,=1+1\2"),
    "a row more": lambda data: data + data.splitlines(keepends=True)[-1],
    "a row less": lambda data: b"".join(data.splitlines(keepends=True)[:-1]),
}  # fmt: skip

# ---------------------------------------------------------------- plan.json


def _help_of(plan, accepted):
    """The edit that a finding asks for, of the first that is accepted, which asks for none, or of
    the first that is not."""
    plan = copy.deepcopy(plan)
    for row in plan["findings"]:
        if bool(row["acknowledged"]) == accepted and (accepted or row["help"]):
            row["help"] += "X"
            return plan
    return None


def _at(*path, to=None):
    """Change what stands at a path: "*" is the first of a list that has the rest; a number grows,
    words are exchanged."""

    def work(held, path):
        key = path[0]
        if key == "*":
            return any(work(row, path[1:]) for row in held) if len(path) > 1 else False
        if isinstance(held, list):
            if len(held) <= key:
                return False
        elif not isinstance(held, dict) or key not in held:
            return False
        if len(path) > 1:
            return work(held[key], path[1:])
        value = held[key]
        if to is not None:
            new = to(value) if callable(to) else to
        elif isinstance(value, bool):
            new = not value
        elif isinstance(value, int | float):
            new = value * 1.03 + 1
        else:
            new = f"{value}X" if isinstance(value, str) and value else None
        if new is None or new == value:
            return False
        held[key] = new
        return True

    def change(plan):
        plan = copy.deepcopy(plan)
        return plan if work(plan, path) else None

    return change


def _less(rows):
    return rows[1:] if rows else None


_PIECE, _STEPS = ("pieces", "*"), ("stages", "*", "steps", "*")
_SET = ("setout", "marks", "*")
_LAID = ("layouts", "*")
PLAN = {
    **{f"{key} of the part": _at("part", key) for key in
       ("number", "name", "revision", "date")},
    "the hand of the part": _at("part", "hand", to="right"),
    "units of the part": _at("part", "units", to=lambda u: "in" if u == "mm" else "mm"),
    **{f"{key} of a piece": _at(*_PIECE, key) for key in
       ("id", "layer", "kind", "material", "angle_deg", "quantity", "stage", "area_mm2",
        "thickness_mm")},
    "a point of an outline": _at(*_PIECE, "outline_mm", 0, 0),
    "an outline of fewer points": _at(*_PIECE, "outline_mm", to=_less),
    "growth of a piece": _at(*_PIECE, "growth", "along_mm"),
    "the treatment of an edge": _at(*_PIECE, "edges", "*", "treatment"),
    "the angle of an edge": _at(*_PIECE, "edges", "*", "angle_deg"),
    "a splice": _at(*_PIECE, "splice", "overlap_mm"),
    "a hole": _at(*_PIECE, "holes_mm", 0, 0, 0),
    "a hole where it lies": _at(*_PIECE, "laid_holes_mm", 0, 0, 0),
    **{f"{key} of a mark of the mould": _at(*_SET, key) for key in
       ("number", "role", "of", "row", "outline")},
    "a mark of the mould": _at(*_SET, "at_mm", 0),
    "a distance of a mark": _at(*_SET, "ties", 0, "mm"),
    "a line to measure from": _at("setout", "lines", 0, "points_mm", 0, 0),
    **{f"{key} of an outline on the mould": _at("setout", "outlines", "*", key) for key in
       ("role", "of", "closed", "within_mm")},
    "a point of an outline on the mould": _at("setout", "outlines", "*", "points_mm", 0, 0),
    **{f"{key} of a diagonal": _at("setout", "diagonals", "*", key) for key in
       ("of", "start", "end", "mm")},
    **{f"{key} of a bow": _at("setout", "bows", "*", key) for key in ("line", "start", "end")},
    "an offset of a bow": _at("setout", "bows", "*", "offsets_mm", 0),
    **{f"{key} of the set-out": _at("setout", key) for key in
       ("flat", "tolerance_mm", "strain_pct")},
    **{f"{key} of a layer": _at("layers", "*", key) for key in
       ("id", "material", "angle_deg", "thickness_mm", "pieces")},
    "layers in another order": _at("layers", to=lambda rows: rows[::-1]),
    **{f"{key} of a layout": _at(*_LAID, key) for key in
       ("stock", "kind", "material", "width_mm", "length_mm", "used_length_mm", "bound_mm",
        "utilisation", "bought", "edge_mm", "table_mm")},
    **{f"{key} of a bay": _at(*_LAID, "bays", "*", key) for key in
       ("number", "at_mm", "to_mm", "cut")},
    "a bay less": _at(*_LAID, "bays", to=lambda rows: rows and rows[:-1]),
    "the table": _at("workshop", "table_mm"),
    **{f"{key} of a placement": _at(*_LAID, "placements", "*", key) for key in
       ("piece", "copy", "x_mm", "y_mm", "rotation_deg", "flipped", "bay",
        "corner_mm")},
    "a corner point": _at(*_LAID, "placements", "*", "marks_mm", 0, 0),
    "a corner point from its line": _at(*_LAID, "placements", "*", "in_bay_mm", 0, 0),
    "a placement less": _at(*_LAID, "placements", to=_less),
    **{f"{key} of a stage": _at("stages", "*", key) for key in ("id", "title")},
    **{f"{key} of a step": _at(*_STEPS, key) for key in ("id", "title", "pieces", "lays")},
    "a caution": _at(*_STEPS, "cautions", 0),
    "a caution less": _at(*_STEPS, "cautions", to=_less),
    "a caution more": _at(*_STEPS, "cautions", to=lambda c: [*c, "Leave the gloves off."]),
    "work": _at(*_STEPS, "text", 0),
    "work less": _at(*_STEPS, "text", to=_less),
    "work more": _at(*_STEPS, "text", to=lambda t: [*t, "Leave the core out."]),
    **{f"{key} of a check": _at(*_STEPS, "checks", "*", key) for key in
       ("id", "kind", "text", "expected", "tolerance", "unit", "at_least", "at_most")},
    "a check less": _at(*_STEPS, "checks", to=_less),
    **{f"{key} of a timer": _at(*_STEPS, "timers", "*", key) for key in
       ("label", "seconds", "kind")},
    "a timer less": _at(*_STEPS, "timers", to=_less),
    **{f"{key} of a batch": _at("quantities", "batches", "*", key) for key in
       ("id", "mass_g", "stage", "step", "purpose", "pot_life_s", "tray_s", "resin")},
    "a part of a batch": _at("quantities", "batches", "*", "parts", 0, "mass_g"),
    **{f"{key} of {group}": _at("quantities", group, "*", key) for group in
       ("cloth", "resin", "consumable", "core", "mass", "gone", "centre")
       for key in ("amount", "item", "unit", "detail")},
    **{f"{key} of a roll for bags": _at("bag_rolls", "*", key) for key in
       ("role", "item", "width_mm", "used_length_mm")},
    **{f"{key} of a cut for a bag": _at("bag_rolls", "*", "cuts", "*", key) for key in
       ("id", "stage", "copy", "of", "x_mm", "y_mm", "along_mm", "across_mm", "where")},
    **{f"{key} of a want": _at("wants", "*", key) for key in ("item", "unit", "exact", "step")},
    "a want less": _at("wants", to=_less),
    "a price to pay": _at("quantities", "buy", "*", "price"),
    "what is bought": _at("quantities", "buy", "*", "amount"),
    "a cut for a bag less": _at("bag_rolls", "*", "cuts", to=_less),
    "a price": _at("quantities", "resin", "*", "price"),
    "the mass": _at("quantities", "laminate_mass_g"),
    "the mass of the part": _at("quantities", "part_mass_g"),
    "the mass of the kit": _at("quantities", "kit_mass_g"),
    "the centre of gravity": _at("quantities", "centre_mm", 0),
    **{f"{key} of a finding": _at("findings", "*", key) for key in
       ("code", "severity", "message")},
    "help of an accepted finding": lambda plan: _help_of(plan, accepted=True),
    "help of another finding": lambda plan: _help_of(plan, accepted=False),
    "a finding less": _at("findings", to=_less),
    **{f"{key} of a zone": _at("zones", "*", key) for key in
       ("code", "label", "thickness_mm", "area_m2", "mass_g")},
    "a stiffness": _at("zones", "*", "abd", 0, 0),
    "the name of a material": _at("materials", "carbon-twill-200", "name"),
    "the key of the record": _at("record_key"),
    "a sheet of another page": _at("tiles", "*", "page"),
    "a sheet of another piece": _at("tiles", "*", "piece"),
    "a window of a sheet": _at("tiles", "*", "window_mm", 0),
    "the printer": _at("printer", 0),
    **{f"{key} of a piece that another's template serves": _at("served", "*", key) for key in
       ("piece", "page", "of", "by")},
    "the tolerance of a piece that another's template serves":
        _at("served", "*", "tolerance_mm", to=0.0),
    "a letter of a piece that another's template serves": _at("served", "*", "knots", 0, 1),
    "an end on another's template": _at("served", "*", "ends",
                                        to=lambda ends: [*ends, ["A", "B", 40.0], ["C", "D", 9.0]]),
    "a template that serves": _at("figures", to=_less),
}  # fmt: skip
# ---------------------------------------------------------------- manifest

MANIFEST = {
    "the folder": _at("folder"),
    "the version": _at("plybook"),
    "the number of a part": _at("parts", "*", "number"),
    "the revision of a part": _at("parts", "*", "revision"),
    "the hash of a spec that is none": _at("parts", "*", "spec", 0, "sha256"),
    "no spec": _at("parts", "*", "spec", to=lambda rows: []),
    "a part more": _at("parts", to=lambda rows: [*rows, rows[0] | {"number": "X"}]),
    "a key more": lambda m: {**m, "note": "x"},
    "the size of a file": _at("files", "*", "bytes"),
    "the hash of a file": _at("files", "*", "sha256"),
    "a file less": _at("files", to=_less),
    "a file outside": _at("files", to=lambda rows: [*rows, rows[0] | {"name": "../x"}]),
}  # fmt: skip

BY_FILE = {".svg": SVG, ".dxf": DXF, ".pdf": PDF, "booklet.html": PAGE, "table.html": TABLE_PAGE,
           ".csv": CSV}  # fmt: skip
KINDS = [(ending, name) for ending, row in BY_FILE.items() for name in row]
