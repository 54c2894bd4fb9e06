"""corrections.key: what the hashes in corrections.csv are keyed with, so that nobody guesses a cell from its hash.

It lies beside study.yaml, readable by its owner alone, and goes into nothing that is written.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import os
import secrets
from pathlib import Path

from liftseries.base.errors import UsageError
from liftseries.base.reading import content
from liftseries.study.plan_files import KEY_FILE, TRUST

HASH_DIGITS = 32  # 128 bits
FORM = 64  # hexadecimal digits of a key


def read_key(folder: Path) -> bytes | None:
    """The study's key; None where it has none that can be read."""
    try:
        text = content(folder / KEY_FILE, 2 * FORM).decode("ascii").strip()
        return bytes.fromhex(text) if len(text) == FORM else None
    except (OSError, ValueError):
        return None


def key_of(folder: Path) -> bytes:
    """The study's key, made where there is none.

    Raises
    ------
    UsageError
        What lies there is no key, or it cannot be written.
    """
    if (key := read_key(folder)) is not None:
        return key
    path = folder / KEY_FILE
    try:
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="ascii") as file:
            file.write(secrets.token_hex(FORM // 2) + "\n")
    except FileExistsError:
        raise UsageError(f"{KEY_FILE} cannot be read, or is no key. Put the study's own back.") from None
    except OSError as error:
        raise UsageError(f"{KEY_FILE} cannot be written ({error.strerror}). Correct who may write there.") from None
    return key_of(folder)


def keyed_hash(key: bytes, *parts: object) -> str:
    """HMAC-SHA-256 of the parts as JSON, its first 32 digits."""
    message = json.dumps(parts, ensure_ascii=False).encode("utf-8", "surrogatepass")
    return hmac.new(key, message, hashlib.sha256).hexdigest()[:HASH_DIGITS]


def trusted() -> bool:
    """Whether the command line said `--trust`: lines that cannot be checked are applied."""
    return bool(os.environ.get(TRUST))
