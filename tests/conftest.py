"""How generated examples are drawn: the same ones on every run, unless a search is asked for.

``HYPOTHESIS_PROFILE=search pytest`` draws new ones each time, and ten times as many where a test sets no
number; what it finds goes into the test as an ``@example``.
"""

from __future__ import annotations

import os

from hypothesis import settings

# No deadline: a busy machine is no fault.
settings.register_profile("steady", derandomize=True, database=None, deadline=None)
settings.register_profile("search", derandomize=False, max_examples=1000, deadline=None)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "steady"))
