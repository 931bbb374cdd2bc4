"""`python -m plybook`."""

import sys

try:
    from plybook.libraries import current_folder_last

    current_folder_last()
    from plybook.cli import main

    code = main()
except KeyboardInterrupt:  # so early, or so late, that the command line itself did not see it
    code = 130
sys.exit(code)
