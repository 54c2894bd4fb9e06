"""A picture inside a page is the one in its file, shorter."""

import re
from pathlib import Path
from urllib.parse import unquote
from xml.etree import ElementTree

import matplotlib.pyplot as plt
import pytest

from liftseries.report.kit.figures.style import Drawing, save
from liftseries.report.pages.page import data_uri

WORD = re.compile(r"-?\d+(?:\.\d+)?|[^\d\s,.]")


@pytest.fixture
def pictures(tmp_path) -> list[Path]:
    """A figure with lines, a filled band, points, words with quotes and a mark: what ours are made of."""
    figure, axes = plt.subplots()
    axes.plot([0, 1 / 3, 2], [-1e-5, 123.456789, -7])
    axes.fill_between([0, 1, 2], [0, 1, 0.5], [1, 2 / 3, 3], alpha=0.5)
    axes.scatter([0.1, 0.2], [3, 4], marker="^")
    axes.set_title("50 % of 'sites' & \"units\" < 4 mm #1")
    save(Drawing(figure, alt="A figure: 0.12345 of \"all\" < 1 & 'none' > 0, 100 %."), tmp_path / "one", ["svg"])
    plt.close(figure)
    return [tmp_path / "one.svg"]


def test_a_picture_in_the_page_is_that_of_its_file_to_a_hundredth_of_a_point(pictures):
    """Every element, every attribute, every number; no space, where an address in `srcset` would end."""
    for path in pictures:
        begin, _, text = data_uri(path).partition(",")
        assert begin == "data:image/svg+xml"
        assert not set(' "<>#&') & set(text)
        one, other = ElementTree.parse(path).getroot(), ElementTree.fromstring(unquote(text))
        for whole, short in zip(one.iter(), other.iter(), strict=True):
            assert (whole.tag, whole.attrib.keys()) == (short.tag, short.attrib.keys())
            for name, value in whole.attrib.items():
                pairs = zip(WORD.findall(value), WORD.findall(short.attrib[name]), strict=True)
                assert all(a == b or abs(float(a) - float(b)) < 0.01 for a, b in pairs)
