"""`python -m plybook`."""

import sys

from plybook.cli import main

sys.exit(main())
