"""`python -m plybook`."""

import os
import sys
from contextlib import suppress

try:
    from plybook.libraries import current_folder_last

    current_folder_last()
    from plybook.cli import main

    code = main()
except KeyboardInterrupt:  # so early, or so late, that the command line itself did not see it
    code = 130
if code == 130:  # one that broke off text being executed would end Python by the signal instead
    for stream in (sys.stdout, sys.stderr):
        with suppress(AttributeError, OSError, ValueError):  # there is none, or nobody reads it
            stream.flush()
    os._exit(code)
sys.exit(code)
