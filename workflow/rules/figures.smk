"""Reads cases, visits and answers; leaves figures/, a job for each outcome, as the figures of the reports are declared."""

for room, figures in figures_of(plan.purpose).items():

    rule:
        """The figures of one outcome."""
        name:
            f"draw_{room}"
        input:
            **files_drawn_from(figures),
        output:
            [path for figure in figures for path in figure.files],
        log:
            f"logs/draw_{room}.log",
        params:
            does="liftseries.report.purposes.jobs:draw_figures",
            room=room,
            purposes=plan.purpose,
            plan=plan_read_by(figures, plan.as_written),
            code=code_behind(*functions_drawing(figures)),
        message:
            f"Drawing: {ROOMS[room].lower()}"
        script:
            "../scripts/job.py"
