"""What `coach records` can do, and what each action takes: for its help and for its errors."""

from __future__ import annotations

USES = {
    "list": "takes nothing more",
    "show": "takes the beginning of one session's name, or nothing for the last",
    "correct": "takes SESSION KEY FIELD=VALUE, such as: last hold:main:1 duration_s=73.4",
    "name": "takes a name or number as `coach records list` shows it, and the new name",
    "prefer": "takes a name or number, and any of speed=0.9 quiet=yes knocks=no",
    "delete": "takes one person's name or number as `coach records list` shows it",
    "import": "takes one JSON file that `coach export --format json` has written",
}
