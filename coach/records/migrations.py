"""Documents of earlier schema versions become today's when they are read.

A step is a function from a document of version n to one of version n + 1. A document is
written back in its new form when it is next changed; reading alone changes no file.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from coach.border import BadInput
from coach.records.document import SCHEMA, Document

Step = Callable[[Document], Document]
STEPS: Mapping[int, Step] = {}


def migrated(
    made: Document, where: str, steps: Mapping[int, Step] = STEPS, schema: int = SCHEMA
) -> Document:
    """`made` at version `schema`. Raises BadInput if it comes from a newer coach."""
    version = made["schema"]
    if version > schema:
        raise BadInput(
            f"{where}: was written by a newer coach (schema {version}, this one knows {schema}); "
            "install the newer one"
        )
    while version < schema:
        made = steps[version](made)
        version += 1
        made["schema"] = version
    return made
