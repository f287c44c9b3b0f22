"""The border: files that people write become values once, or one clear line says why not."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any, TypeVar

from pydantic import TypeAdapter, ValidationError

T = TypeVar("T")


class BadInput(Exception):
    """Wrong use or bad input; its text is the one line that is printed. Exit code 2."""


def data_path(*parts: str) -> Path:
    """Where the shipped `config/...` and `grammars/...` lie: in the wheel or in the checkout."""
    package = Path(__file__).parent
    shipped = package / "data"
    root = shipped if shipped.is_dir() else package.parent
    return root.joinpath(*parts)


def read_toml(path: Path) -> dict[str, Any]:
    """The tables of a TOML file. Raises BadInput naming file, line and reason."""
    try:
        with path.open("rb") as file:
            return tomllib.load(file)
    except FileNotFoundError:
        raise BadInput(f"{path}: there is no such file") from None
    except OSError as error:
        raise BadInput(f"{path}: cannot be read ({error.strerror})") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise BadInput(f"{path}: is not valid TOML ({error})") from None


def parse(kind: type[T] | Any, value: object, where: str) -> T:
    """`value` as `kind` (dataclass or annotation), strictly. Raises BadInput: file, key, reason."""
    try:
        parsed: T = TypeAdapter(kind).validate_python(value)
    except ValidationError as error:
        first = error.errors(include_url=False, include_context=False)[0]
        key = ".".join(str(part) for part in first["loc"]) or "(top)"
        more = f" ({error.error_count() - 1} more)" if error.error_count() > 1 else ""
        reason = first["msg"].removeprefix("Value error, ")
        raise BadInput(f"{where}: {key}: {reason}{more}") from None
    return parsed
