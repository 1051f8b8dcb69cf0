"""``python -m survey``."""

import sys

from survey.cli import main

if __name__ == "__main__":
    sys.exit(main())
