"""The key file: 32 random bytes, without which no pseudonym can be told back or made again.

One line: a name, the key in hexadecimal, and the first eight digits of its SHA-256, by which a changed key is known.
"""

from __future__ import annotations

import hashlib
import os
import re
import secrets
from pathlib import Path

from liftseries.base.errors import UsageError
from liftseries.base.reading import content
from liftseries.study.plan_files import PLAN_FILE

N_BYTES = 32
MOST_BYTES = 4096  # of a file that may be a key
LINE = re.compile(r"liftseries-key ([0-9a-f]{64}) ([0-9a-f]{8})\s*")
RIGHTS = 0o600


def check_place(path: Path, *folders: Path) -> None:
    """The key must lie apart from the tables that it belongs to, and from anything that is handed on.

    Raises
    ------
    UsageError
        It lies in one of `folders`, in a study folder, or in a folder under version control.
    """
    place = path.resolve()
    for folder in folders:
        if place.is_relative_to(folder.resolve()):
            raise UsageError(f"{path} lies with the tables. Keep the key apart from them, where only you can read.")
    for parent in place.parents:
        if (parent / PLAN_FILE).exists():
            raise UsageError(f"{path} lies in a study folder. Keep the key apart, where only you can read.")
        if (parent / ".git").exists():
            raise UsageError(f"{path} lies in a folder under version control. Keep the key apart from it.")


def read_key(path: Path) -> bytes:
    """The 32 bytes of a key file.

    Raises
    ------
    UsageError
        There is none, others than its owner may use it, or it is not whole.
    """
    try:
        rights = path.stat().st_mode & 0o777
        text = content(path, MOST_BYTES).decode("ascii", errors="replace")
    except FileNotFoundError:
        raise UsageError(f"{path} is not there. Correct the name, or make a key with --new-key.") from None
    except OSError as error:
        raise UsageError(f"{path} cannot be read ({error.strerror}). Name a key file that you may read.") from None
    # Windows keeps rights in another way, so there the folder of the user must guard the file.
    if os.name == "posix" and rights & 0o077:
        raise UsageError(f"{path} may be used by others than you. Run `chmod 600` on it, or make a new key.")
    line = LINE.fullmatch(text)
    if line is None or _check_of(bytes.fromhex(line[1])) != line[2]:
        raise UsageError(f"{path} is no whole key: shortened, changed, or another file. Take the copy that you kept.")
    return bytes.fromhex(line[1])


def new_key() -> bytes:
    return secrets.token_bytes(N_BYTES)


def write_key(path: Path, key: bytes) -> None:
    """A new file that its owner alone may read; never over another one.

    Raises
    ------
    UsageError
        There is a file of that name, or it cannot be made.
    """
    try:
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, RIGHTS)
    except FileExistsError:
        raise UsageError(f"{path} is there already. Leave out --new-key to use it, or name another.") from None
    except OSError as error:
        raise UsageError(f"{path} cannot be made ({error.strerror}). Name a place where you may write.") from None
    with os.fdopen(descriptor, "w", encoding="ascii") as file:
        file.write(f"liftseries-key {key.hex()} {_check_of(key)}\n")


def _check_of(key: bytes) -> str:
    return hashlib.sha256(key).hexdigest()[:8]
