"""What stands at both ends of the supplement: where to find what, sites left out, the index of results."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.kit.blocks import Block
from liftseries.report.kit.writer import Writer


def left_out(writer: Writer) -> Iterable[Block]:
    """Sites that analyses left out, and how missing terms were imputed."""
    yield from writer.table("left_out")
    yield from writer.table("imputation")


def index(writer: Writer) -> Iterable[Block]:
    """Every row of results.csv and where it is printed."""
    rows = [(key, ", ".join(places)) for key, places in writer.printed.items()]
    if rows:
        yield writer.own_table("index", "Rows of results.csv and where each is printed.", ("Row", "Printed in"), rows)


def checklist(writer: Writer) -> Iterable[Block]:
    """Where to find what."""
    yield from ()
