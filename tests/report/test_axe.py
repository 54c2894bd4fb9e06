"""Pages in a browser: no rule of accessibility is broken, nothing scrolls sideways, the control shows the keys."""

from importlib.resources import files

import pytest
from browser import asked_of, with_chromium

from liftseries.report.pages.page import render_html

TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "best-practice"]
DESK, TABLET, PHONE = 1366, 820, 390
NAMES = ["report", "supplement"]
# Everything that can be opened is open. Of each table five rows: the others are made alike, and looking takes its time.
CHECK = f"""
document.querySelectorAll("details").forEach(one => one.open = true);
document.querySelectorAll("tbody tr:nth-child(n+6)").forEach(one => one.remove());
document.getElementById("show-keys").checked = true;
const found = await axe.run(document, {{runOnly: {{type: "tag", values: {TAGS}}}}});
return {{passed: found.passes.length, violations: found.violations.map(
  rule => rule.id + ": " + rule.nodes.slice(0, 5).map(node => node.html.slice(0, 160)).join(" | "))}};
"""
# How wide the page is; of each table that is wider than its box, scrolled to its right end, where its first column and
# caption stand; what the control does.
LOOK = """
const width = [document.documentElement.scrollWidth, innerWidth];
const wide = [...document.querySelectorAll(".scroll")].filter(box => box.scrollWidth > box.clientWidth + 1);
const tables = wide.map(box => {
  box.scrollLeft = box.scrollWidth;
  const left = cell => Math.round(cell.getBoundingClientRect().left - box.getBoundingClientRect().left);
  const row = box.querySelector("tbody th");
  return {
    left: [left(box.querySelector("thead tr > :first-child")), left(row), left(box.querySelector("caption > span"))],
    covered: row.offsetWidth / box.clientWidth, focusable: box.tabIndex,
  };
});
const control = document.getElementById("show-keys"), keys = [...document.querySelectorAll(".key")];
const shown = () => keys.filter(key => getComputedStyle(key).display !== "none").length;
control.focus();
const focused = document.activeElement === control, before = shown();
control.click();
return {width, tables, control: {focused, before, after: shown()}};
"""
pytestmark = with_chromium


@pytest.fixture(scope="module")
def pages(written) -> dict[str, str]:
    return {report.name: render_html(report) for report in written["full"].reports}


@pytest.mark.parametrize("width", [DESK, PHONE])
@pytest.mark.parametrize("name", NAMES)
def test_axe_finds_no_violation(pages, name, width):
    axe = (files("axe_core_python") / "axe.min.js").read_text(encoding="utf-8")
    found = asked_of(pages[name], CHECK, width, axe)
    assert found["passed"] > 20
    assert found["violations"] == []


def test_axe_would_find_one(pages):
    axe = (files("axe_core_python") / "axe.min.js").read_text(encoding="utf-8")
    found = asked_of(pages["report"].replace('<html lang="en">', "<html>"), CHECK, DESK, axe)
    assert [violation.partition(":")[0] for violation in found["violations"]] == ["html-has-lang"]


@pytest.fixture(scope="module", params=[(name, width) for name in NAMES for width in (DESK, TABLET, PHONE)], ids=str)
def seen(request, pages):
    """A page as it is seen at a width."""
    name, width = request.param
    return width, asked_of(pages[name], LOOK, width)


def test_the_page_never_scrolls_sideways(seen):
    width, told = seen
    needed, shown = told["width"]
    assert shown == width
    assert needed <= shown


def test_a_wide_table_keeps_its_first_column_and_its_caption(seen):
    width, told = seen
    assert told["tables"] or width > PHONE
    for table in told["tables"]:
        assert set(table["left"]) == {0}
        assert table["covered"] < 0.5
        assert table["focusable"] == 0


def test_the_control_shows_the_keys_without_a_script(seen):
    _, told = seen
    assert told["control"]["focused"]
    assert told["control"]["before"] == 0
    assert told["control"]["after"] > 10
