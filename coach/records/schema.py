"""The JSON Schema of a session's document (2020-12), as shipped beside this module."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

SCHEMA_PATH = Path(__file__).with_name("session.schema.json")


def session_schema() -> dict[str, Any]:
    """The schema as a value."""
    schema: dict[str, Any] = json.loads(SCHEMA_PATH.read_text(encoding="utf-8"))
    return schema
