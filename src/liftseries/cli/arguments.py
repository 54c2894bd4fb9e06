"""Arguments that commands share: the types that they are read as, the study folder and the plan in it."""

from __future__ import annotations

import argparse
from pathlib import Path

from liftseries.base.errors import UsageError
from liftseries.study.plan import Plan, read_plan
from liftseries.study.plan_files import PLAN_FILE

CAUTION = (
    "For research and audit. Not a medical device, no advice for a patient in the chair: "
    "local codes and licensed clinical judgement come first."
)


def add_command(commands, name: str, help: str, example: str, description: str | None = None):
    """A command's parser: its help ends in an example that runs on the demo, beside a copy of `synthetic_data`."""
    command = commands.add_parser(
        name,
        help=help,
        description=description or f"{help[0].upper()}{help[1:]}.",
        epilog=f"Example:\n  liftseries {example}\n\n{CAUTION}",
        formatter_class=WithExample,
    )
    command.add_argument("--quiet", action="store_true", help="say nothing of progress on standard error")
    return command


class WithExample(argparse.HelpFormatter):
    """Wraps everything but what stands under `Example:`."""

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        if not text.startswith("Example:"):
            return super()._fill_text(text, width, indent)
        example, _, caution = text.partition("\n\n")
        return f"{example}\n\n{super()._fill_text(caution, width, indent)}"


def add_study(command: argparse.ArgumentParser) -> None:
    """STUDY, and --read-from for tables that lie outside it."""
    command.add_argument("study", metavar="STUDY", help="the study folder, or its study.yaml")
    command.add_argument(
        "--read-from", type=folder, action="append", default=[], metavar="FOLDER",
        help="absolute path of a folder outside the study's that study.yaml may name tables in; may stand repeatedly",
    )  # fmt: skip
    command.add_argument(
        "--trust", action="store_true",
        help="apply lines of corrections.csv that cannot be checked: corrections.key is lost, or a person wrote them",
    )  # fmt: skip


def plan_of(study: str) -> Plan:
    """The plan of the study folder or study.yaml that was named.

    Raises
    ------
    UsageError
        There is no study.yaml.
    StudyError
        With every problem of the file.
    """
    path = Path(study)
    if not (path if path.suffix in (".yaml", ".yml") else path / PLAN_FILE).is_file():
        raise UsageError(f"{study} holds no {PLAN_FILE}. Make a folder with `liftseries new`, or name another.")
    return read_plan(path)


# ── types: each raises ArgumentTypeError where the text is none of its kind ───────────────────────────────────


def folder(text: str) -> Path:
    """The absolute path of a folder that is there."""
    path = Path(text)
    if not (path.is_absolute() and path.is_dir()):
        raise argparse.ArgumentTypeError("the absolute path of a folder is needed")
    return path


def count(text: str) -> int:
    """A whole number, at least 1."""
    try:
        number = int(text)
    except ValueError:
        raise argparse.ArgumentTypeError("a whole number is needed, such as 20") from None
    if number < 1:
        raise argparse.ArgumentTypeError("at least 1 is needed")
    return number


def mm(text: str) -> float:
    """Millimetres, 0 to 40, with a decimal point or comma."""
    try:
        number = float(text.replace(",", "."))
    except ValueError:
        raise argparse.ArgumentTypeError("a number of millimetres is needed") from None
    if not 0 <= number <= 40:
        raise argparse.ArgumentTypeError("between 0 and 40 mm is needed")
    return number


def positive(text: str) -> float:
    """A number above 0 and below 100, with a decimal point or comma."""
    try:
        number = float(text.replace(",", "."))
    except ValueError:
        raise argparse.ArgumentTypeError("a number is needed") from None
    if not 0 < number < 100:
        raise argparse.ArgumentTypeError("above 0 and below 100 is needed")
    return number
