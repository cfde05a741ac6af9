"""Whether an SQLite connection keeps what the program relies on; every fault is a sentence."""

import os
import sqlite3
from pathlib import Path

LEAST_PATIENCE_MS = 5000
# File systems of other machines. The write-ahead log needs memory that all processes share,
# which they lack there (sqlite.org/wal.html, "All processes must be on the same host").
NETWORK = {
    "9p", "afs", "beegfs", "ceph", "cifs", "gfs2", "lustre", "ncpfs", "nfs", "nfs4", "ocfs2",
    "smb3", "smbfs",
    "fuse.ceph-fuse", "fuse.glusterfs", "fuse.s3fs", "fuse.sshfs",
}  # fmt: skip
MOUNTS = Path("/proc/self/mountinfo")


def faults(connection: sqlite3.Connection, *, file: str, transaction_mode: str | None) -> list[str]:
    """What is wrong with an open connection to `file`; nothing where all is well."""
    found = []
    if ask(connection, "journal_mode") != "wal":
        found.append("The write-ahead log is off, so readers and writers would block each other.")
    if ask(connection, "foreign_keys") != 1:
        found.append("Foreign keys are not enforced, so rows could point at nothing.")
    if int(str(ask(connection, "busy_timeout"))) < LEAST_PATIENCE_MS:
        found.append(f"A busy database must be waited for {LEAST_PATIENCE_MS} ms or longer.")
    if int(str(ask(connection, "synchronous"))) < 1:
        found.append("Nothing is synced to the disk, so a loss of power could break the file.")
    if transaction_mode != "IMMEDIATE":
        found.append("Transactions must begin IMMEDIATE, or two writers could fail each other.")
    kind = filesystem(file, mounts=_mounts())
    if kind in NETWORK:
        found.append(
            f"{file} lies on a network file system ({kind}), where SQLite's locks cannot be "
            "trusted. Put it on a disk of this machine, or use PostgreSQL."
        )
    return found


def ask(connection: sqlite3.Connection, pragma: str) -> object:
    """The value of one pragma."""
    return connection.execute(f"PRAGMA {pragma}").fetchone()[0]


def filesystem(file: str, *, mounts: str) -> str:
    """The kind of file system that holds `file`, from the text of mountinfo; "" if unknown.

    The lines are described in proc(5): the mount point is the fifth field, the kind the first
    after the hyphen, and a space in a name is written as \\040.
    """
    path = os.path.realpath(file)
    best, kind = "", ""
    for line in mounts.splitlines():
        fields, _, rest = line.partition(" - ")
        point = fields.split()[4].replace("\\040", " ")
        inside = path == point or path.startswith(point.rstrip("/") + "/")
        # Of two mounts on one point the later hides the earlier.
        if inside and len(point) >= len(best):
            best, kind = point, rest.split()[0]
    return kind


def _mounts() -> str:
    try:
        return MOUNTS.read_text(encoding="utf-8", errors="replace")
    except OSError:  # not Linux: nothing is known, and nothing is refused for it
        return ""
