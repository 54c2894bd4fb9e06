"""`liftseries map`: how a centre's own files are read, drafted from their headers."""

from __future__ import annotations

import argparse
from pathlib import Path

from liftseries.base.errors import UsageError
from liftseries.base.numbers import counted
from liftseries.cli.arguments import add_command


def add_map(commands) -> None:
    """The command and its arguments, among `commands` of the parser."""
    command = add_command(
        commands,
        "map",
        help="draft how a centre's own files become the tables",
        description="Writes reading/NAME.yaml for each file: its headers compared with the dictionary, what is "
        "doubtful marked `?`. study.yaml is never changed without --add.",
        example="map synthetic_data heath_sites.csv",
    )
    command.add_argument("study", metavar="STUDY", help="the study folder")
    command.add_argument("files", metavar="FILE", nargs="+", help="a file in it, `book.xlsx#sheet` for one sheet")
    command.add_argument("--add", action="store_true", help="append what study.yaml needs where it has no such key")
    command.add_argument("--update", action="store_true", help="add new headers to a reading that is there already")
    command.set_defaults(command=_map)


def _map(options: argparse.Namespace) -> int:
    from liftseries.intake.mapping.written import add_to_plan, lines_for_plan, map_file

    folder = Path(options.study)
    if not folder.is_dir():
        raise UsageError(f"{folder} is no folder. Make one, and copy the centres' files into it.")
    files = [map_file(folder, file, options.update) for file in dict.fromkeys(options.files)]
    for file in files:
        shown = f"{file.path.parent.name}/{file.path.name}"
        match file.state:
            case "new":
                doubts = counted(file.draft.n_doubtful, "question")
                print(f"{shown}: drafted for {file.label}; {file.draft.n_certain} columns certain, {doubts} left.")
                for question in file.draft.questions:
                    print(f"  ask the centre: {question}")
            case "updated":
                print(f"{shown}: {counted(file.n_added, 'new header')} added, each with a ?.")
            case "differs":
                print(f"{shown} is there already and was left as it is. The draft would differ:")
                print(file.difference)
            case "same":
                print(f"{shown}: nothing to add.")
    lines = lines_for_plan(files)
    added, left = add_to_plan(folder, lines) if options.add else ([], list(lines))
    if added:
        print(f"study.yaml: {' and '.join(f'`{key}`' for key in added)} appended.")
    if left:
        print("To paste into study.yaml, under the key where it is there already:\n")
        print("\n".join(lines[key] for key in left) + "\n")
    print("Next: answer each ? in the files above, then `liftseries check` the folder.")
    return 1 if any(file.state == "differs" for file in files) else 0
