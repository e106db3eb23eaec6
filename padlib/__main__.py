"""`python -m padlib`, the command line where the folder of its command is not on the path."""

from __future__ import annotations

import sys

from padlib.cli import main

sys.exit(main())
