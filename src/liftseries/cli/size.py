"""`liftseries size`: how many patients the next study needs."""

from __future__ import annotations

import argparse
import os

from liftseries.base.errors import Problem, StudyError
from liftseries.cli.arguments import CAUTION, add_command, add_study, count, plan_of, positive


def add_size(commands) -> None:
    """The command and its arguments, among `commands` of the parser."""
    command = add_command(
        commands,
        "size",
        help="how many patients the next study needs",
        example="size synthetic_data --within 3 --simulations 200",
    )
    add_study(command)
    command.add_argument(
        "--within", type=positive, required=True, metavar="X",
        help="half of the 95 %% interval: of the rate in percentage points, of a term in log odds",
    )  # fmt: skip
    command.add_argument(
        "--of", default="rate", metavar="TERM",
        help="a term of the perforation model such as approach[guided] (default: the perforation rate)",
    )  # fmt: skip
    command.add_argument(
        "--simulations", type=count, default=1000, metavar="N", help="studies simulated (default: 1000)"
    )
    command.add_argument("--cores", type=count, default=os.cpu_count() or 1, help="processes (default: all)")
    command.set_defaults(command=_size)


def _size(options: argparse.Namespace) -> int:
    from concurrent.futures import ProcessPoolExecutor

    import liftseries.engine.job  # noqa: F401, one thread for linear algebra: set before numpy is imported
    from liftseries.base.progress import Bar, step
    from liftseries.estimators.intervals import NotFitted
    from liftseries.planning.cases import read_cases
    from liftseries.planning.sample_size import sample_size
    from liftseries.planning.sample_size_text import sample_size_text
    from liftseries.planning.simulated import RATE, at_rate, simulated_from

    plan = plan_of(options.study)
    within = options.within / 100 if options.of == RATE else options.within
    step("Reading the tables")
    cases = read_cases(plan)
    step("Simulating studies")
    try:
        study = simulated_from(cases, options.of, plan.perforation_terms)
        with Bar("Simulating studies", quiet=options.quiet) as bar, ProcessPoolExecutor(options.cores) as pool:
            how = plan.seed, options.simulations, pool.map if options.cores > 1 else map, bar
            answer = sample_size(study, within, *how)
            others = []
            for rate in study.rate_interval:
                try:
                    others.append(sample_size(at_rate(study, rate), within, *how))
                except NotFitted:
                    others.append(None)
    except NotFitted as why:
        raise StudyError([Problem(f"size of {options.of}", str(why))]) from None
    print(sample_size_text(options.of, within, study, answer, others))
    print(CAUTION)
    print("Nothing was written. Next: repeat it with another --within or --of before you decide.")
    return 0
