"""The command line: thin doors onto the rooms, a file a command."""

from liftseries.cli.main import main

__all__ = ["main"]
