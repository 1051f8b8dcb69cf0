"""``python -m survey``."""

from __future__ import annotations

import gc
import sys


def run() -> int:
    """Run the command line as a program of its own."""
    # A run is short and leaves few cycles behind; walking over all that is imported, again and again and once
    # more at the end, would take a tenth of it or more.
    gc.disable()
    from survey.cli import main

    try:
        return main()
    finally:
        gc.freeze()


if __name__ == "__main__":
    sys.exit(run())
