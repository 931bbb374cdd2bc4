"""Built folders changed as a careful forger would, and what the verifier says of them."""

import hashlib
import io
import json

from pypdf import PdfReader, PdfWriter
from pypdf.generic import DecodedStreamObject, NameObject

from plybook.verify import verify_folder


def faults(folder):
    """All faults of a folder, or of those inside it."""
    return [fault for report in verify_folder(folder).folders for fault in report.faults]


def reseal(folder, name, data):
    """Change a file, and its entry in the manifest with it."""
    (folder / name).write_bytes(data)
    manifest = json.loads((folder / "manifest.json").read_bytes())
    for entry in manifest["files"]:
        if entry["name"] == name:
            entry.update(bytes=len(data), sha256=hashlib.sha256(data).hexdigest())
    (folder / "manifest.json").write_text(json.dumps(manifest))


def change_plan(folder, change):
    """Change what plan.json holds."""
    plan = json.loads((folder / "plan.json").read_bytes())
    change(plan)
    reseal(folder, "plan.json", json.dumps(plan).encode())


def page_bytes(data, number):
    """The content stream of one page of a PDF."""
    return PdfReader(io.BytesIO(data)).pages[number].get_contents().get_data()


def with_page(data, number, content):
    """A PDF with the content of one page exchanged, by pypdf."""
    writer = PdfWriter(clone_from=io.BytesIO(data))
    stream = DecodedStreamObject()
    stream.set_data(content)
    writer.pages[number][NameObject("/Contents")] = writer._add_object(stream)
    return pdf_of(writer)


def pdf_of(writer):
    """The bytes of a PDF that pypdf writes."""
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue()


def smaller(content):
    """A page's content drawn at 98 %."""
    return b"q 0.98 0 0 0.98 0 0 cm " + content + b" Q"


def swap(data, one, other):
    """Two strings exchanged wherever they stand."""
    return data.replace(one, b"\n<>\n").replace(other, one).replace(b"\n<>\n", other)
