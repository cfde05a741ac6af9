"""Making a backup: copied live, proved, encrypted if there is a key, then given its name."""

import hashlib
import os
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from types import ModuleType
from typing import IO

from django.db import DatabaseError, connection

from dispatch.backups import postgres_dump, sealing, sqlite_file
from dispatch.backups.contents import BackupRefused, Contents, present_counts

SEALED = ".sealed"


@dataclass(frozen=True)
class Made:
    """A backup that was looked through and lies on the disk."""

    file: str
    bytes: int
    sha256: str
    encrypted: bool
    rows: dict[str, int]
    seconds: float


def engine() -> ModuleType:
    """How the database that is in use is copied and put back."""
    return sqlite_file if connection.vendor == "sqlite" else postgres_dump


def make(*, folder: Path, key: str, now: datetime) -> Made:
    """A backup in `folder`. It bears its name only when it is whole, proved and on the disk."""
    sealing.check_key(key)
    try:
        return _make(folder, key=key, now=now)
    except (OSError, DatabaseError) as trouble:
        raise BackupRefused(f"No backup was made: {str(trouble).strip()}.") from trouble


def _make(folder: Path, *, key: str, now: datetime) -> Made:
    begun, kind = time.monotonic(), engine()
    least = present_counts()
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    with tempfile.TemporaryDirectory(prefix=".backup-", dir=kind.scratch()) as scratch:
        plain = Path(scratch) / "copy"
        kind.dump(plain)
        contents: Contents = kind.examine(plain)
        faults = contents.faults + contents.fewer_than(least)
        if faults:
            raise BackupRefused(f"The copy was thrown away. {' '.join(faults)}")
        moment = f"{now.astimezone(UTC):%Y%m%dT%H%M%S}{now.microsecond // 1000:03d}Z"
        name = f"slabcast-{moment}{kind.ENDING}{SEALED if key else ''}"
        file = _write(plain, folder / name, key=key)
    return Made(
        file=str(file),
        bytes=file.stat().st_size,
        sha256=_digest(file),
        encrypted=bool(key),
        rows=contents.counts,
        seconds=round(time.monotonic() - begun, 2),
    )


def _write(plain: Path, file: Path, *, key: str) -> Path:
    partial = file.with_name(f"{file.name}.partial")
    try:
        handle = os.open(partial, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with plain.open("rb") as source, os.fdopen(handle, "wb") as target:
            sealing.seal(source, target, key=key) if key else _copy(source, target)
            target.flush()
            os.fsync(target.fileno())
        # What was written is read again: a disk may take a file and not give it back.
        with plain_copy(partial, key=key, folder=plain.parent) as again:
            if _digest(again) != _digest(plain):
                raise BackupRefused("The disk gave back something else than was written.")
        partial.replace(file)
    finally:
        partial.unlink(missing_ok=True)
    handle = os.open(file.parent, os.O_RDONLY)
    os.fsync(handle)
    os.close(handle)
    return file


@contextmanager
def plain_copy(file: Path, *, key: str, folder: Path) -> Iterator[Path]:
    """A backup as its engine reads it, in `folder`, where only we can see it."""
    plain = folder / "plain"
    handle = os.open(plain, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with file.open("rb") as source, os.fdopen(handle, "wb") as target:
        sealed = sealing.is_sealed(source.read(len(sealing.MAGIC)))
        source.seek(0)
        sealing.unseal(source, target, key=key) if sealed else _copy(source, target)
    try:
        yield plain
    finally:
        plain.unlink(missing_ok=True)


def _copy(source: IO[bytes], target: IO[bytes]) -> None:
    while piece := source.read(sealing.PIECE):
        target.write(piece)


def _digest(file: Path) -> str:
    with file.open("rb") as source:
        return hashlib.file_digest(source, "sha256").hexdigest()
