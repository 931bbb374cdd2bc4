"""Words that break one syntax or another: each sink shows just what was typed."""

# every one may stand in a name, a title or a note
NASTY = [
    "</script><script>alert(1)</script>",
    "<b>bold</b> & 'single' \"double\"",
    "]]></style><style>*{display:none}",
    "<!-- not a remark -->",
    "javascript:alert(1)",
    "&lt;&#60; &amp;amp;",
    "[carbon] [/0] [bold red]x[/]",
    "%%c %%d %%u {\\H3;x} \\P \\U+00B0 ^J",
    "=HYPERLINK(\"http://x.test\",\"y\")",
    "+1 -2 @SUM(A1)",
    "-1",
    "±45° × 2 ≤ 3 µm – Größe Łódź",
    "comma, \"quote\"; semicolon",
    "a  two  spaces",
    "${HOME} $(id) `id` %PATH% {{x}} {0}",
    "back\\slash \\n \\\\ (paren) )(",
    "0012",
    "NaN",
    "None",
    "A" * 120,
]  # fmt: skip
