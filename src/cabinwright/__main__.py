"""``python -m cabinwright``."""

import sys

from cabinwright.cli.main import main

sys.exit(main())
