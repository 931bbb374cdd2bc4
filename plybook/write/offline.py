"""What the pages of HTML share: one file each, nothing fetched, nothing sent.

The content policy allows a page's own style, script, type and pictures and nothing else.
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Sequence
from functools import cache
from html import escape
from importlib.resources import files

from plybook.drawing.typesetting import bound


def script_json(value: object) -> str:
    """JSON that cannot end the script element it stands in."""
    text = json.dumps(value, ensure_ascii=True, sort_keys=True)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def told(text: str) -> str:
    """Words of a page, set and escaped."""
    return escape(bound(text))


@cache
def asset(name: str) -> str:
    """A source file of a page."""
    return (files("plybook.write") / "assets" / name).read_text(encoding="utf-8")


def one_script(folder: str, names: Sequence[str]) -> str:
    """The one script of a page: its source files in order, inside one function of their own."""
    body = "\n".join(asset(f"{folder}/{name}.js") for name in names)
    return f'"use strict";\n(() => {{\n{body}}})();\n'


def content_policy(script: str, style: str) -> str:
    """What a browser may use of a page: this script, this style, and data inside the page."""
    return "; ".join(
        (
            "default-src 'none'",
            f"script-src '{_digest(script)}'",
            f"style-src '{_digest(style)}'",
            "font-src data:",
            "img-src data: blob:",
            "base-uri 'none'",
            "form-action 'none'",
        )
    )


def _digest(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode()
