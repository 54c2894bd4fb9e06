"""The supplement's last chapters: what was left out, versions and plan, what a release withholds."""

import re
from dataclasses import replace

from liftseries.report.closing.supplement_chapters import left_out
from liftseries.report.closing.versions import versions
from liftseries.report.closing.withheld import what_was_withheld
from liftseries.report.kit.material import Material, Withheld
from liftseries.report.kit.writer import Writer
from liftseries.report.purposes import purpose

CODES = re.compile(r"[a-z]_[a-z]|\b(perforation|survival|gain|depth|series|bone)\.[a-z]|\[|·|GLOBAL")
FILES = re.compile(r"\w+\.(csv|json)|reports/")
WITHHOLDING = Withheld(5, 10, 20, 100, 10, 30, rows_leave=False)


def writer(material: Material) -> Writer:
    return Writer(purpose("publication"), material)


def test_what_was_left_out_is_told_of_what_is_quoted(materials, made):
    (told,) = left_out(writer(materials["full"]))
    n = int((made["full"].cases["perforation"] == "unknown").sum())
    assert f"Sites left out of the share of sites perforated: {n} (perforation unknown)." in told.text
    assert "Imputed for the model of implant failure: smoking of " in told.text
    assert not CODES.search(FILES.sub("", told.text))


def test_the_plan_is_on_a_page_only_where_no_manifest_goes_with_it(materials):
    inside = list(versions(writer(replace(materials["full"], inputs={"s.csv": "ab" * 32}))))
    assert "manifest.json" in inside[-1].text
    assert [block.kind for block in inside] == ["paragraph", "table", "paragraph"]
    outside = list(versions(writer(replace(materials["full"], withheld=WITHHOLDING))))
    assert "first_depth_margin_mm:" in outside[-1].text
    assert "tables:" not in outside[-1].text
    assert not {"audit:", "comparison:"} & set(outside[-1].text.split())  # cases expected of an operator, and who


def test_a_release_says_which_reports_stay_in_the_house(materials):
    plan = materials["full"].plan | {"purpose": ["publication", "comparison", "audit"]}
    told = [*what_was_withheld(writer(replace(materials["full"], withheld=WITHHOLDING, plan=plan)))]
    assert told[-1].text.startswith("Not here are the comparison of groups and the audit of the study")


def test_what_was_withheld_is_said_in_the_numbers_of_the_release(materials):
    text = " ".join(block.text for block in what_was_withheld(writer(replace(materials["full"], withheld=WITHHOLDING))))
    assert "A count of 1 to 4 patients" in text
    assert "(30 numbers in all)" in text
    assert "the audit" not in text
    assert "most counts are withheld" not in text
    assert "No rows of patients are here." in text
    assert "each of them may still be 1 as well as 4. A group" in text


def test_a_release_after_others_says_what_they_leave_of_a_small_count(materials):
    withheld = replace(WITHHOLDING, after_others=True)
    text = " ".join(block.text for block in what_was_withheld(writer(replace(materials["full"], withheld=withheld))))
    assert "1 as well as 4. What earlier releases told was taken as known, too; where that alone leaves" in text
