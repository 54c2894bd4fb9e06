"""Whether what the last run read and left still stands there, to the byte; and what must go where it does not.

manifest.json names the hash of every file. Beside it lies a note of the size and times that a file had when it was last
hashed: one that has them still need not be read again. The note holds of this copy of the folder alone.
"""

from __future__ import annotations

import json
import os
import shutil
import time
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from liftseries.base.outputs import write_text
from liftseries.base.reading import content, sha256
from liftseries.engine.provenance import MANIFEST, all_code, versions
from liftseries.study.indicators import OWN_FILE
from liftseries.study.plan_files import CORRECTIONS_FILE, PLAN_FILE, file_of, files_read
from liftseries.study.schema import AUDIT_TABLES

NOTE = ".hashed.json"
MOST_BYTES = 64 * 2**20  # of a manifest; of a longer one nothing is taken
SURE = 2.0  # seconds after which a change of a file gives it another time, on every file system


class Hashed:
    """Hashes of files, read from the disk where a file is not known by its size and times.

    Parameters
    ----------
    output : the output folder, in which the note lies
    """

    def __init__(self, output: Path):
        self._folder, self._now = output, {}
        self._noted = _read(output / NOTE)

    def sha256(self, path: Path) -> str | None:
        """Of the file's bytes; None where there is none."""
        name = os.path.relpath(path, self._folder)
        try:
            known_by = _known_by(path)
            noted = self._noted.get(name)
            is_known = isinstance(noted, list) and noted[:-1] == known_by
            digest = noted[-1] if is_known else sha256(path)
        except OSError:
            return None
        # One that was written a moment ago may be written again without another time.
        if abs(time.time_ns() - known_by[1]) > SURE * 1e9:
            self._now[name] = [*known_by, digest]
        return digest

    def keep(self) -> None:
        """Writes the note, where it says anything new and the folder takes it."""
        if self._now != self._noted:
            with suppress(OSError):
                write_text(self._folder / NOTE, json.dumps(self._now))


def _known_by(path: Path) -> list[int]:
    """Size, time of the last change of content, and of anything: nobody sets the last."""
    status = path.stat()
    return [status.st_size, status.st_mtime_ns, status.st_ctime_ns]


def last_manifest(output: Path) -> dict[str, Any]:
    """The last finished run's; empty where there is none, or a damaged one."""
    last = _read(output / MANIFEST)
    whole = all(isinstance(last.get(part), dict) for part in ("inputs", "outputs", "between", "plan"))
    return last if whole and last["outputs"] and PLAN_FILE in last["inputs"] else {}


def is_up_to_date(study: Path, output: Path) -> bool:
    """Whether the outputs are those of these inputs, this plan and this version, every byte of them.

    The plan need not be read for it: it is the last run's where study.yaml is the same to the byte.

    Parameters
    ----------
    study, output : the study folder and its output folder
    """
    last = last_manifest(output)
    if not last or (last.get("versions"), last.get("code")) != (versions(), all_code()):
        return False
    hashed = Hashed(output)
    stands = (
        (study / CORRECTIONS_FILE).is_file() == (CORRECTIONS_FILE in last["inputs"])
        and not _unnamed_files_came(study, last)
        and not _differ(study, last["inputs"], hashed)
        and not edited(output, last, hashed)
    )
    hashed.keep()
    return stands


def edited(output: Path, last: Mapping[str, Any], hashed: Hashed) -> list[str]:
    """Files of the last run, by path within the output folder, that are gone or hold other bytes than it left."""
    return _differ(output, {**last["outputs"], **last["between"]}, hashed)


def _differ(folder: Path, hashes: Mapping[str, str], hashed: Hashed) -> list[str]:
    return [name for name, digest in hashes.items() if hashed.sha256(folder / name) != digest]


def _unnamed_files_came(study: Path, last: Mapping[str, Any]) -> bool:
    """Whether a file of an audit that study.yaml need not name lies there now and did not at the last run."""
    read = files_read(last["plan"], study)
    if "audit" in last["plan"]["purpose"] and (study / OWN_FILE).is_file() and OWN_FILE not in last["inputs"]:
        return True
    return any(file_of(label) not in last["inputs"] for name in AUDIT_TABLES for label in read.get(name, ()))


def remove_edited(output: Path) -> list[str]:
    """Takes away what was edited since the last finished run, so that Snakemake makes it again and rests nothing on it.

    Returns
    -------
    Their paths within the output folder.
    """
    last = last_manifest(output)
    if not last:
        return []
    hashed = Hashed(output)
    folders = last.get("folders", ())
    gone = [name for name in edited(output, last, hashed) if (output / name).resolve().is_relative_to(output.resolve())]
    for name in gone:
        for whole in (folder for folder in folders if name.startswith(f"{folder}/")):
            shutil.rmtree(output / whole, ignore_errors=True)
        (output / name).unlink(missing_ok=True)
    if gone:
        (output / MANIFEST).unlink()
    return gone


def take_out_of_the_future(output: Path) -> None:
    """Where the clock was set back since: all that lies in the folder is made older alike, in the same order.

    Snakemake goes by the times of files within the output folder, and would take what is made now for the older.
    """
    files = [path for path in [output, *output.rglob("*")] if not path.is_symlink()]
    times = {path: path.stat().st_mtime_ns for path in files}
    ahead = max(times.values()) - time.time_ns()
    if ahead > 0:
        for path, changed in times.items():
            os.utime(path, ns=(changed - ahead, changed - ahead))


def _read(path: Path) -> dict[str, Any]:
    try:
        written = json.loads(content(path, MOST_BYTES))
    except (OSError, ValueError, RecursionError):
        return {}
    return written if isinstance(written, dict) else {}
