"""Pages in a browser: no rule of accessibility is broken, nothing scrolls sideways, the control shows the keys."""

from importlib.resources import files

import pytest
from browser import asked_of, with_chromium

AXE = (files("axe_core_python") / "axe.min.js").read_text(encoding="utf-8")
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "best-practice"]
DESK, TABLET, PHONE = 1366, 820, 390
NAMES = ["report", "supplement"]
# Everything that can be opened is open. Of each table five rows: the others are made alike, and looking takes its time.
CHECK = f"""
document.querySelectorAll(".scroll").forEach(one => one.scrollLeft = 0);
document.querySelectorAll("details").forEach(one => one.open = true);
document.querySelectorAll("tbody tr:nth-child(n+6)").forEach(one => one.remove());
document.getElementById("show-keys").checked = true;
const found = await axe.run(document, {{runOnly: {{type: "tag", values: {TAGS}}}}});
const checked = {{passed: found.passes.length, violations: found.violations.map(
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
const seen = {width, tables, control: {focused, before, after: shown()}};
"""
pytestmark = with_chromium


@pytest.fixture(scope="module")
def seen(pages) -> dict[tuple[str, int], dict]:
    """Each document's page as it is seen at each width; at the first and the last axe looks at it, too."""
    both = {width: f"{LOOK} {CHECK} return {{...seen, axe: checked}};" for width in (DESK, PHONE)}
    asked = both | {TABLET: f"{LOOK} return seen;"}
    return {
        (name, width): asked_of(pages["full"][name], script, width, AXE)
        for name in NAMES
        for width, script in asked.items()
    }


@pytest.mark.parametrize("width", [DESK, PHONE])
@pytest.mark.parametrize("name", NAMES)
def test_axe_finds_no_violation(seen, name, width):
    found = seen[name, width]["axe"]
    assert found["passed"] > 20
    assert found["violations"] == []


def test_axe_would_find_one(pages):
    page = pages["full"]["report"].replace('<html lang="en">', "<html>")
    found = asked_of(page, f"{CHECK} return checked;", DESK, AXE)
    assert [violation.partition(":")[0] for violation in found["violations"]] == ["html-has-lang"]


at_each_width = pytest.mark.parametrize("width", [DESK, TABLET, PHONE])
of_each_document = pytest.mark.parametrize("name", NAMES)


@at_each_width
@of_each_document
def test_the_page_never_scrolls_sideways(seen, name, width):
    needed, shown = seen[name, width]["width"]
    assert shown == width
    assert needed <= shown


@at_each_width
@of_each_document
def test_a_wide_table_keeps_its_first_column_and_its_caption(seen, name, width):
    tables = seen[name, width]["tables"]
    assert tables or width > PHONE
    for table in tables:
        assert set(table["left"]) == {0}
        assert table["covered"] < 0.5
        assert table["focusable"] == 0


@at_each_width
@of_each_document
def test_the_control_shows_the_keys_without_a_script(seen, name, width):
    control = seen[name, width]["control"]
    assert control["focused"]
    assert control["before"] == 0
    assert control["after"] > 10
