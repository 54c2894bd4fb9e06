"""Pages in a browser: no rule of accessibility is broken, nothing scrolls sideways, the control shows the keys."""

from importlib.resources import files

import pytest
from browser import asked_of, with_chromium

from liftseries.report.pages.page import render_html

TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "best-practice"]
DESK, TABLET, PHONE = 1366, 820, 390
# Everything that can be opened is open; of each table five rows, as the others are made alike and a rule takes its time.
CHECK = f"""
document.querySelectorAll("details").forEach(one => one.open = true);
document.querySelectorAll("tbody tr:nth-child(n+6)").forEach(one => one.remove());
document.getElementById("show-keys").checked = true;
const found = await axe.run(document, {{runOnly: {{type: "tag", values: {TAGS}}}}});
return {{passed: found.passes.length, violations: found.violations.map(
  rule => rule.id + ": " + rule.nodes.slice(0, 5).map(node => node.html.slice(0, 160)).join(" | "))}};
"""
SIDEWAYS = "return [document.documentElement.scrollWidth, innerWidth];"
# Of each table that is wider than its box, scrolled to its right end: where its first column and caption stand.
FIRST_COLUMN = """
const boxes = [...document.querySelectorAll(".scroll")].filter(box => box.scrollWidth > box.clientWidth + 1);
return boxes.map(box => {
  box.scrollLeft = box.scrollWidth;
  const left = cell => cell.getBoundingClientRect().left - box.getBoundingClientRect().left;
  return {
    head: left(box.querySelector("thead tr > :first-child")), row: left(box.querySelector("tbody th")),
    covered: box.querySelector("tbody th").offsetWidth / box.clientWidth,
    caption: left(box.querySelector("caption > span")), focusable: box.tabIndex,
  };
});
"""
KEYS = """
const control = document.getElementById("show-keys"), keys = [...document.querySelectorAll(".key")];
const shown = () => keys.filter(key => getComputedStyle(key).display !== "none").length;
control.focus();
const focused = document.activeElement === control, before = shown();
control.click();
return {focused, before, after: shown(), keys: keys.length};
"""
pytestmark = with_chromium


@pytest.fixture(scope="module")
def pages(written) -> dict[str, str]:
    return {report.name: render_html(report) for report in written["full"].reports}


@pytest.mark.parametrize("width", [DESK, PHONE])
@pytest.mark.parametrize("name", ["report", "supplement"])
def test_axe_finds_no_violation(pages, name, width):
    axe = (files("axe_core_python") / "axe.min.js").read_text(encoding="utf-8")
    found = asked_of(pages[name], CHECK, width, axe)
    assert found["passed"] > 20
    assert found["violations"] == []


def test_axe_would_find_one(pages):
    axe = (files("axe_core_python") / "axe.min.js").read_text(encoding="utf-8")
    found = asked_of(pages["report"].replace('<html lang="en">', "<html>"), CHECK, DESK, axe)
    assert [violation.partition(":")[0] for violation in found["violations"]] == ["html-has-lang"]


@pytest.mark.parametrize("width", [DESK, TABLET, PHONE])
@pytest.mark.parametrize("name", ["report", "supplement"])
def test_the_page_never_scrolls_sideways(pages, name, width):
    needed, shown = asked_of(pages[name], SIDEWAYS, width)
    assert shown == width
    assert needed <= shown


@pytest.mark.parametrize("name", ["report", "supplement"])
def test_on_a_phone_a_table_keeps_its_first_column_and_its_caption(pages, name):
    boxes = asked_of(pages[name], FIRST_COLUMN, PHONE)
    assert boxes
    for box in boxes:
        assert {round(box["head"]), round(box["row"]), round(box["caption"])} == {0}
        assert box["covered"] < 0.5
        assert box["focusable"] == 0


@pytest.mark.parametrize("name", ["report", "supplement"])
def test_the_control_shows_the_keys_without_a_script(pages, name):
    told = asked_of(pages[name], KEYS, DESK)
    assert told["focused"]
    assert told["before"] == 0
    assert told["after"] > 10
