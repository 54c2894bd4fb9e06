"""Sets everything up in `.venv` and serves the README's commands; needs only Python 3.11 or newer with pip.

python3 make.py demo    the demo series to its report
python3 make.py test    the tests
python3 make.py setup   the environment alone, tests included
python3 make.py lock    renews both lock files and the bill of materials (needs uv)
"""

import hashlib
import os
import subprocess
import sys
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
BIN = VENV / ("Scripts" if os.name == "nt" else "bin")
PYTHON = BIN / ("python.exe" if os.name == "nt" else "python")
CORE, TESTS = ROOT / "requirements.txt", ROOT / "tests" / "requirements.txt"


def main() -> None:
    """Runs the command named on the command line; what follows `test` goes to pytest."""
    if sys.version_info < (3, 11):
        sys.exit(f"Python 3.11 or newer is needed; this is {sys.version.split()[0]}.")
    match sys.argv[1:]:
        case ["demo"]:
            setup(CORE)
            run(BIN / "liftseries", "run", ROOT / "synthetic_data")
        case ["test", *arguments]:
            setup(TESTS)
            run(PYTHON, "-m", "pytest", *(arguments or ["-n", "auto", "--no-loadscope-reorder"]))
        case ["setup"]:
            setup(TESTS)
        case ["lock"]:
            lock()
        case _:
            sys.exit(__doc__)


def setup(path: Path) -> None:
    """Installs the locked packages, each checked against its hash, then liftseries from this folder."""
    if not PYTHON.exists():
        print("Making .venv", flush=True)
        # pip is lent from the Python that runs this: Debian's lacks what a virtual environment needs for its own.
        venv.create(VENV, with_pip=False, symlinks=os.name != "nt")
    # The tests' lock holds all of the core's, so either note will do for the core.
    notes = {lock: VENV / f"{lock.parent.name}-{lock.name}.installed" for lock in {path, TESTS}}
    states = {lock: hashlib.sha256(CORE.read_bytes() + lock.read_bytes()).hexdigest() for lock in notes}
    if not any(note.exists() and note.read_text() == states[lock] for lock, note in notes.items()):
        print(f"Installing {path.relative_to(ROOT)}, which takes a minute or two", flush=True)
        pip("install", "--quiet", "--require-hashes", "-r", path)
        notes[path].write_text(states[path])
    if not (BIN / "liftseries").exists() and not (BIN / "liftseries.exe").exists():
        pip("install", "--quiet", "--no-deps", "--no-build-isolation", "--editable", ROOT)


def pip(*arguments: str | Path) -> None:
    """The pip of the Python that runs this, at work in .venv."""
    run(sys.executable, "-m", "pip", "--python", PYTHON, *arguments)


def lock() -> None:
    """Both lock files, every package with its hashes, and the core's bill of materials; no registry host."""
    options = [
        "--universal",
        "--generate-hashes",
        "--python-version",
        "3.11",
        "--quiet",
    ]
    options += ["--custom-compile-command", "python3 make.py lock", "--upgrade"]
    run("uv", "pip", "compile", "pyproject.toml", "--group", "build", *options, "-o", CORE)
    run(
        "uv",
        "pip",
        "compile",
        "pyproject.toml",
        "--extra",
        "test",
        "--extra",
        "slurm",
        "--group",
        "build",
        "-c",
        CORE,
        *options,
        "-o",
        TESTS,
    )
    # Without uv's own project mode, which would write a lock of its own.
    run("uv", "run", "--no-project", "--quiet", "--with", "cyclonedx-bom==7.5.0", "python", ".ci/bill_of_materials.py")


def run(*command: str | Path) -> None:
    """Ends with the command's status where it fails."""
    status = subprocess.run([str(word) for word in command], cwd=ROOT).returncode
    if status:
        sys.exit(status)


if __name__ == "__main__":
    main()
