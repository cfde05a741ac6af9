"""Encrypted files: AES-256-GCM in pieces, so that any change, cut or other key is noticed.

The pieces follow the STREAM construction (Hoang, Reyhanitabar, Rogaway and Vizár, CRYPTO
2015): each has its number and whether it is the last in its nonce, so none can be left out,
repeated or swapped. The key of a file comes from the passphrase and a salt by scrypt.
"""

import hashlib
import hmac
import os
from typing import IO

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM

from dispatch.backups.contents import BackupRefused

MAGIC = b"SLABCAST SEALED 1\n"
SALT, CHECK, TAG = 16, 16, 16
PIECE = 1 << 20
LEAST_KEY = 20
# RFC 7914 section 2; about 32 MB and a tenth of a second for each guess.
SCRYPT = {"n": 1 << 15, "r": 8, "p": 1, "maxmem": 64 << 20}


def check_key(key: str) -> None:
    """Refuse a key that could be guessed."""
    if key and len(key) < LEAST_KEY:
        raise BackupRefused(f"SLABCAST_BACKUP_KEY must have {LEAST_KEY} characters or more.")


def seal(source: IO[bytes], target: IO[bytes], *, key: str) -> None:
    """Write `source` to `target`, encrypted."""
    salt = os.urandom(SALT)
    cipher, check = _keys(key, salt)
    header = MAGIC + salt + check
    target.write(header)
    number, piece = 0, source.read(PIECE)
    while True:
        following = source.read(PIECE)
        target.write(cipher.encrypt(_nonce(number, last=not following), piece, header))
        if not following:
            return
        number, piece = number + 1, following


def unseal(source: IO[bytes], target: IO[bytes], *, key: str) -> None:
    """Write what was sealed to `target`; refuse another key and a file that was changed or cut."""
    header = source.read(len(MAGIC) + SALT + CHECK)
    if not key:
        raise BackupRefused("The backup is encrypted. Set SLABCAST_BACKUP_KEY to open it.")
    salt, check = header[len(MAGIC) : -CHECK], header[-CHECK:]
    cipher, expected = _keys(key, salt)
    if not hmac.compare_digest(check, expected):
        raise BackupRefused("SLABCAST_BACKUP_KEY is not the key this backup was made with.")
    number, piece = 0, source.read(PIECE + TAG)
    while True:
        following = source.read(PIECE + TAG)
        try:
            target.write(cipher.decrypt(_nonce(number, last=not following), piece, header))
        except (InvalidTag, ValueError):
            raise BackupRefused("The backup is damaged or was cut short.") from None
        if not following:
            return
        number, piece = number + 1, following


def is_sealed(beginning: bytes) -> bool:
    """Whether a file that begins so is one of these."""
    return beginning.startswith(MAGIC)


def _keys(key: str, salt: bytes) -> tuple[AESGCM, bytes]:
    """The cipher, and a value that tells a wrong key from a damaged file."""
    derived = hashlib.scrypt(key.encode(), salt=salt, dklen=32 + CHECK, **SCRYPT)
    return AESGCM(derived[:32]), derived[32:]


def _nonce(number: int, *, last: bool) -> bytes:
    return number.to_bytes(11, "big") + bytes([last])
