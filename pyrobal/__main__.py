"""``python -m pyrobal``."""

import sys

from pyrobal.cli import main

sys.exit(main())
