"""Put what was measured into the user's settings file, leaving everything else as it is."""

from __future__ import annotations

from pathlib import Path

import tomlkit
from tomlkit.exceptions import TOMLKitError

from coach.border import BadInput
from coach.durable import write_whole


def store_found(path: Path, **found: float) -> None:
    """Set keys of [room]; comments and other keys stay. Raises BadInput, OSError."""
    try:
        text = path.read_text(encoding="utf-8") if path.exists() else ""
        document = tomlkit.parse(text)
    except (TOMLKitError, UnicodeDecodeError) as error:
        raise BadInput(f"{path}: is not valid TOML ({error})") from None
    room = document.setdefault("room", tomlkit.table())
    for key, value in found.items():
        room[key] = value
    path.parent.mkdir(parents=True, exist_ok=True)
    write_whole(path, tomlkit.dumps(document).encode())
