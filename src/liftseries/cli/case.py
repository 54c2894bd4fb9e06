"""`liftseries case`: the single-case record of one site of a finished run."""

from __future__ import annotations

import argparse
import difflib
import re

from liftseries.base.errors import UsageError
from liftseries.base.progress import step
from liftseries.cli.arguments import add_command, add_study, plan_of

MOST_NEAR = 3


def add_case(commands) -> None:
    """The command and its arguments, among `commands` of the parser."""
    command = add_command(
        commands,
        "case",
        help="write the single-case record of one site of a finished run",
        example="case synthetic_data heath-001-26",
    )
    add_study(command)
    command.add_argument("site", metavar="SITE", help="the site's pseudonym, as in `site_id`")
    command.set_defaults(command=_case)


def _case(options: argparse.Namespace) -> int:
    from liftseries.engine.provenance import MANIFEST
    from liftseries.engine.run import alone_in
    from liftseries.report.audit.records_written import RECORDS, records_of, write_record

    plan = plan_of(options.study)
    if not (plan.output / MANIFEST).is_file():
        raise UsageError(f"{plan.output} holds no finished run. Do `liftseries run {options.study}` first.")
    with alone_in(plan.output):
        step("Reading the run")
        records = records_of(plan.output, plan.as_written)
        if options.site not in records.site_ids:
            raise UsageError(f'the run has no site "{options.site}".{_nearest(options.site, records.site_ids)}')
        path = write_record(records, options.site, plan.output / RECORDS)
    print(f"Made {path}. Next: read it beside the notes; it stays in the house.")
    return 0


def _nearest(site: str, known: list[str]) -> str:
    """The sites whose names are most like the one given, leading zeros and capitals apart."""
    plain = {name: re.sub(r"0+(?=\d)", "", name.casefold()) for name in known}
    asked = re.sub(r"0+(?=\d)", "", site.casefold())
    like = difflib.get_close_matches(asked, list(dict.fromkeys(plain.values())), n=MOST_NEAR, cutoff=0.4)
    near = [name for one in like for name, text in plain.items() if text == one][:MOST_NEAR]
    return f" Nearest: {', '.join(near)}." if near else " Its sites stand in derived/sites.csv."
