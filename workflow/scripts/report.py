"""Estimates, figures and the plan -> report.html, report.pdf and tables/."""

from liftseries.engine.job import logged

with logged(snakemake.log[0]):
    from liftseries.base.outputs import remake_folder
    from liftseries.engine.provenance import input_hashes
    from liftseries.report.kit.material import read_material
    from liftseries.report.pages.page import write_html, write_pdf
    from liftseries.report.pages.table_files import write_tables
    from liftseries.report.purposes.publication import build
    from liftseries.study.plan import read_plan

    plan = read_plan(snakemake.params.study)
    material = read_material(".", plan.as_written, snakemake.params.versions, input_hashes(plan))
    report = build(material)
    write_html(report, snakemake.output.html)
    write_pdf(report, snakemake.output.pdf)
    with remake_folder(snakemake.output.tables) as tables:
        write_tables(report.tables, tables)
