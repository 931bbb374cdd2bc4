"""The commands, one file each: its arguments, and what it runs.

A command module offers HELP (one sentence), EXAMPLE (a line to type), `arguments(parser)` and
`run(arguments, progress) -> exit code`. Whatever is heavy is imported inside `run`, so that help
and completion answer at once.
"""

# in the order the help shows them
NAMES = (
    "new",
    "check",
    "build",
    "verify",
    "watch",
    "compare",
    "record",
    "keep",
    "recut",
    "explain",
    "schema",
    "completion",
)
