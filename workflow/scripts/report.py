"""Estimates, figures and the plan -> report.html, report.pdf and tables/."""

from liftseries.jobs import logged

with logged(snakemake.log[0]):
    from liftseries.outputs import remake_folder
    from liftseries.plan import read_plan
    from liftseries.provenance import input_hashes
    from liftseries.report.content import build
    from liftseries.report.material import read_material
    from liftseries.report.page import write_html, write_pdf
    from liftseries.report.table_files import write_tables

    plan = read_plan(snakemake.params.study)
    material = read_material(".", plan.as_written, snakemake.params.versions, input_hashes(plan))
    report = build(material)
    write_html(report, snakemake.output.html)
    write_pdf(report, snakemake.output.pdf)
    with remake_folder(snakemake.output.tables) as tables:
        write_tables(report.tables, tables)
