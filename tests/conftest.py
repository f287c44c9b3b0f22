"""What all tests share."""

from __future__ import annotations

import os

from hypothesis import settings

# In CI the same examples every time: what is on main is judged by the code, not by luck. At a
# desk hypothesis keeps looking for new ones.
settings.register_profile("ci", derandomize=True, deadline=None)
settings.register_profile("desk", deadline=None)
settings.load_profile("ci" if os.environ.get("CI") else "desk")
