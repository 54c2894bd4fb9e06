"""`liftseries ladder`: the planned ladder with the study's own instruments and stops."""

from __future__ import annotations

import argparse

from liftseries.base.errors import UsageError
from liftseries.cli.arguments import CAUTION, add_command, add_study, mm, plan_of


def add_ladder(commands) -> None:
    """The command and its arguments, among `commands` of the parser."""
    command = add_command(
        commands,
        "ladder",
        help="print the planned ladder with the study's own instruments and stops",
        example="ladder synthetic_data --approach guided --rbh-min 4 --rbh-max 6",
    )
    add_study(command)
    command.add_argument("--rbh-min", type=mm, required=True, metavar="MM", help="lowest residual bone height")
    command.add_argument("--rbh-max", type=mm, required=True, metavar="MM", help="highest residual bone height")
    command.add_argument("--approach", choices=["guided", "freehand"], help="default: each that has instruments")
    command.add_argument("--platform", type=float, default=0.0, metavar="MM", help="planned platform below the crest")
    command.add_argument("--guide-offset", type=mm, metavar="MM", help="planned platform to the top of the guide")
    command.add_argument("--soft-tissue", type=mm, metavar="MM", help="mucosa over the crest")
    command.set_defaults(command=_ladder)


def _ladder(options: argparse.Namespace) -> int:
    from liftseries.intake.study import read_drills
    from liftseries.planning.ladder import ladder_text

    if options.rbh_min > options.rbh_max or options.rbh_min == 0:
        raise UsageError("--rbh-min must be above 0 and not above --rbh-max. Were the two swapped?")
    plan = plan_of(options.study)
    instruments, stops = read_drills(plan)
    approaches = [options.approach] if options.approach else list(dict.fromkeys(instruments["approach"]))
    for approach in approaches:
        print(
            ladder_text(
                instruments,
                stops,
                approach,
                rbh_min_mm=options.rbh_min,
                rbh_max_mm=options.rbh_max,
                platform_depth_mm=options.platform,
                margin_mm=plan.first_depth_margin_mm[approach],
                step_mm=plan.step_mm,
                guide_offset_mm=options.guide_offset,
                soft_tissue_mm=options.soft_tissue,
            )
        )
    print(CAUTION)
    print("Nothing was written. Next: compare it with the instruments and stops on the tray.")
    return 0
