"""The ground floor loads quickly: numpy and special functions, nothing heavier."""

import subprocess
import sys

HEAVY = ("scipy.interpolate", "scipy.spatial", "scipy.optimize", "matplotlib", "pandas", "ezdxf")


def test_import_brings_nothing_heavy():
    code = f"import sys, survey.curves; print([name for name in {HEAVY!r} if name in sys.modules])"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"
