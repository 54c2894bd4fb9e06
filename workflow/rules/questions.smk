"""Reads cases, implants and visits; leaves the answers to every declared question in work/, a job an outcome.

A rule is made for each job of `liftseries.engine.questions`; the declarations are in `liftseries.models`.
"""

for job in (*quick_jobs(plan), *pooling_jobs(plan)):

    rule:
        """The questions of one outcome that need no resampling, or those whose resamples are drawn."""
        name:
            job.name
        input:
            **job.inputs,
        output:
            **job.outputs,
        log:
            f"logs/{job.name}.log",
        params:
            does="liftseries.engine.answer:answer_job",
            questions=job.questions,
            asked=job.asked,
            drawn=job.drawn,
            code=code_behind(*job.functions) + code_of("engine/answer.py"),
        priority: 20  # before what draws them
        group:
            "answers" if not job.drawn else "report"
        resources:
            **requested(job.name, size),
        message:
            job.message
        run:
            hand_over(input, output, params, wildcards, log)


for question in resampling(questions_asked):

    rule:
        """One chunk of a question's replicates; each has its own seed, so that the split changes no answer."""
        name:
            f"{question.name}_draws"
        input:
            **files_read(question),
        output:
            draws=work_file(f"draws/{question.name}_{{first}}"),
        log:
            f"logs/{question.name}_draws_{{first}}.log",
        params:
            does="liftseries.engine.answer:draw_job",
            question=question.name,
            asked=asked_of_draws(question, plan),
            n=plan_value(plan, question.draws.n),
            code=code_behind(*functions_of(question)) + code_of("engine/answer.py"),
        priority: 30  # the longest way to the reports begins here
        group:
            "resamples"
        resources:
            **requested(f"{question.name}_draws", size),
        message:
            f"Resampling from {{wildcards.first}}: {question.says}"
        run:
            hand_over(input, output, params, wildcards, log)
