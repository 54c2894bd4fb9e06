"""The publication's report and supplement, as declared."""

from __future__ import annotations

from dataclasses import replace

from liftseries.report.associations import declarations as associations
from liftseries.report.closing import declarations as closing
from liftseries.report.depth import declarations as depth
from liftseries.report.gain import declarations as gain
from liftseries.report.kit.declarations import Chapter, Document, Purpose
from liftseries.report.perforation import declarations as perforation
from liftseries.report.sensitivity import declarations as sensitivity
from liftseries.report.series import declarations as series
from liftseries.report.survival import declarations as survival

ANSWERS = Chapter(
    id="answers",
    title="Answers",
    blocks=("liftseries.report.purposes.publication.first_page:blocks",),
    numbered=False,
)
BONE = replace(
    gain.REPORT_CHAPTER,
    blocks=(*gain.REPORT_CHAPTER.blocks, f"{survival.ROOM}.report_chapter:complications"),
    tables=(*gain.REPORT_CHAPTER.tables, survival.COMPLICATIONS),
)
METHODS = Chapter(
    id="methods",
    title="Methods and definitions",
    blocks=(
        f"{series.ROOM}.supplement_chapter:what_was_studied",
        f"{depth.ROOM}.methods:of_depths",
        f"{closing.ROOM}.methods:of_clustering",
        f"{perforation.ROOM}.methods:of_rates_and_odds",
        f"{closing.ROOM}.methods:of_separation",
        f"{closing.ROOM}.methods:of_simulated_series",
        f"{perforation.ROOM}.methods:of_risks",
        f"{closing.ROOM}.methods:of_missing_terms",
        f"{survival.ROOM}.methods:of_survival",
        f"{gain.ROOM}.methods:of_gain",
        f"{depth.ROOM}.methods:of_agreement",
        f"{sensitivity.ROOM}.methods:of_sensitivity",
        f"{closing.ROOM}.methods:of_random_numbers_and_levels",
        f"{depth.ROOM}.supplement_chapter:worked_cases",
    ),
)
CHARACTERISTICS = replace(
    series.SUPPLEMENT_CHAPTER,
    blocks=(*series.SUPPLEMENT_CHAPTER.blocks, f"{closing.ROOM}.supplement_chapters:left_out"),
)
GAIN = replace(
    gain.SUPPLEMENT_CHAPTER,
    blocks=(*gain.SUPPLEMENT_CHAPTER.blocks, f"{survival.ROOM}.supplement_chapter:landmark"),
)
REPORT = Document(
    name="report",
    title="",
    prefix="",
    chapters=(
        ANSWERS,
        series.REPORT_CHAPTER,
        depth.REPORT_CHAPTER,
        perforation.REPORT_CHAPTER,
        survival.REPORT_CHAPTER,
        associations.REPORT_CHAPTER,
        BONE,
        closing.LIMITS,
        closing.WITHHELD,
    ),
)
SUPPLEMENT = Document(
    name="supplement",
    title="Supplement",
    prefix="S",
    chapters=(
        closing.CHECKLIST,
        METHODS,
        CHARACTERISTICS,
        depth.SUPPLEMENT_CHAPTER,
        perforation.SUPPLEMENT_CHAPTER,
        perforation.PREDICTION_CHAPTER,
        survival.SUPPLEMENT_CHAPTER,
        survival.HAZARDS_CHAPTER,
        GAIN,
        sensitivity.SUPPLEMENT_CHAPTER,
        sensitivity.CLUSTERING_CHAPTER,
        closing.VERSIONS,
        closing.INDEX,
    ),
)
PURPOSE = Purpose(
    name="publication",
    notices=(
        "For research and audit. This report is not a medical device and gives no advice for a patient in the chair.",
        "Local codes and licensed clinical judgement come first.",
        "Small numbers mislead: read every share with its denominator and every estimate with its interval.",
    ),
    documents=(REPORT, SUPPLEMENT),
    further_tables=(closing.LEFT_OUT, closing.IMPUTATION, sensitivity.SECOND_OPINION),
    may_be_released=True,
    released_notice=(
        "Made to leave the house: numbers that tell of few patients, or would give them away, are withheld; the last "
        "section says which, and why."
    ),
)
