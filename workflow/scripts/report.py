"""Estimates, figures and the plan -> report.html, report.pdf and tables/."""

from liftseries.engine.job import logged

with logged(snakemake.log[0]):
    from liftseries.engine.provenance import input_hashes
    from liftseries.report.kit.material import read_material
    from liftseries.report.kit.writer import write
    from liftseries.report.pages.report_files import write_report
    from liftseries.report.purposes import purpose
    from liftseries.study.plan import read_plan

    plan = read_plan(snakemake.params.study)
    material = read_material(".", plan.as_written, snakemake.params.versions, input_hashes(plan))
    for report in map(purpose, plan.purpose):
        write_report(write(report, material), report.files, ".")
