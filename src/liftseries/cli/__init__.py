"""The command line: a file a command, each a thin layer over its room."""

from liftseries.cli.main import main

__all__ = ["main"]
