"""What all tests share."""

from __future__ import annotations

import os

import pytest
from hypothesis import settings

# In CI the same examples every time: what is on main is judged by the code, not by luck. At a
# desk hypothesis keeps looking for new ones.
settings.register_profile("ci", derandomize=True, deadline=None)
settings.register_profile("desk", deadline=None)
settings.load_profile("ci" if os.environ.get("CI") else "desk")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Two workers share the tests; those on the sound server follow each other on one."""
    for item in items:
        if item.get_closest_marker("sound_server"):
            item.add_marker(pytest.mark.xdist_group("sound server"))
