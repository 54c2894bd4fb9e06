"""R as the tests use it: where it is missing they are skipped on a developer's machine and fail in CI."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import pytest

RSCRIPT = shutil.which("Rscript")
with_r = pytest.mark.skipif(RSCRIPT is None and not os.environ.get("CI"), reason="R (Rscript) is not installed")


def rscript(script: Path, folder: Path) -> str:
    """What a script prints that runs in a folder; only the packages of R's own library are there for it."""
    assert RSCRIPT, "R (Rscript) is not installed, though CI is set: see .ci/run"
    done = subprocess.run([RSCRIPT, "--vanilla", script], cwd=folder, capture_output=True, encoding="utf-8")
    assert done.returncode == 0, done.stderr
    return done.stdout
