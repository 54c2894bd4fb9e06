"""Reads cases, visits and answers; draws the figures that the reports declare, a job for each outcome."""

for room, figures in figures_of(plan.purpose).items():

    rule:
        """The figures of one outcome."""
        name:
            f"draw_{room}"
        input:
            **files_drawn_from(figures),
        output:
            directory(drawn_in(room)),
        log:
            f"logs/draw_{room}.log",
        params:
            does="liftseries.report.purposes.jobs:draw_figures",
            room=room,
            purposes=plan.purpose,
            plan=plan_read_by(figures, plan.as_written),
            code=code_behind(*functions_drawing(figures)),
        priority: longest_first(f"draw_{room}")
        group:
            "report"
        resources:
            **requested(f"draw_{room}", size),
        message:
            f"Drawing: {ROOMS[room].lower()}"
        run:
            hand_over(input, output, params, wildcards, log)
