"""Settings from the environment, read in one place so that a mistake is a sentence.

Every variable starts with SLABCAST_. `NAME_FILE` may name a file that holds the value of
`NAME`, which is how secrets come from mounted files.
"""

import os
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured

TRUE = {"1", "true", "yes", "on"}
FALSE = {"0", "false", "no", "off", ""}


def text(name: str, default: str = "") -> str:
    """The value of SLABCAST_`name`, or of the file that SLABCAST_`name`_FILE names."""
    file_name = os.environ.get(f"SLABCAST_{name}_FILE")
    if file_name:
        try:
            return Path(file_name).read_text(encoding="utf-8").strip()
        except OSError as trouble:
            raise ImproperlyConfigured(f"SLABCAST_{name}_FILE cannot be read: {trouble}") from None
    return os.environ.get(f"SLABCAST_{name}", default).strip()


def flag(name: str, *, default: bool = False) -> bool:
    """Yes or no: 1/true/yes/on or 0/false/no/off."""
    value = text(name, "1" if default else "0").lower()
    if value in TRUE:
        return True
    if value in FALSE:
        return False
    raise ImproperlyConfigured(f"SLABCAST_{name} must be yes or no, not {value!r}")


def number(name: str, default: int) -> int:
    """A whole number."""
    value = text(name, str(default))
    try:
        return int(value)
    except ValueError:
        raise ImproperlyConfigured(
            f"SLABCAST_{name} must be a whole number, not {value!r}"
        ) from None


def words(name: str, default: str = "") -> list[str]:
    """A list, separated by commas."""
    return [word.strip() for word in text(name, default).split(",") if word.strip()]
