"""A printed example of discrimination: a c statistic whose units cluster in patients."""

import numpy as np
import pytest

from liftseries.estimators.prediction import c_statistic


def numbers(text: str) -> np.ndarray:
    return np.array([int(word) for word in text.split()])


# Obuchowski 1997, doi:10.2307/2533958, worked example: 65 arteries of 36 patients, narrowed or not, each scored by two
# readers from magnetic resonance angiographies. Typed in from a later public reimplementation of the method that quotes
# the data and the table's footer; not from the paper itself.
PATIENT = numbers("""
    1 1 2 2 3 3 4 4 5 5 6 6 7 8 8 9 9 10 10 11 11 12 12 13 14 14 15 15 16 16 17 17 18 18 19 19
    20 20 21 22 22 23 23 24 24 25 25 26 26 27 27 28 29 29 30 30 31 31 32 32 33 33 34 35 36
""")
NARROWED = numbers("""
    1 1 1 1 1 1 1 1 1 1 1 1 1 1 0 1 0 1 0 1 0 1 0 1 0 1 0 1 0 1 0 1 0 1 0 1 0 1 1 0 1 0 1 0 0 0 0 0 0 0 0 0 0 0
    0 0 0 0 0 0 0 0 0 0 0
""").astype(bool)
READER = {
    1: numbers("""
    87 79 88 95 100 68 65 89 97 100 100 89 77 94 45 89 -11 95 30 95 10 100 19 75 70 70 26 86 0 65
    6 100 76 96 44 100 73 97 85 58 100 -2 100 -3 0 47 -94 -16 75 5 -1 -6 37 47 42 4 55 55 4 -13
    49 35 53 2 -48
    """),
    2: numbers("""
    87 83 94 93 100 79 61 91 97 100 99 88 77 89 44 92 -17 91 14 95 -122 100 -3 75 73 81 27 93 8 70
    23 100 79 95 55 100 67 94 86 60 99 -2 100 -14 -11 -3 -90 17 85 -22 -14 -52 38 35 40 6 23 45 -87 -65
    24 9 66 -15 -78
    """),
}
# area, standard error (four decimals), then the footer's S10, S01 and S11 (ten decimals)
PRINTED = {
    1: (0.9837, 0.0108, 0.0013151307, 0.0022375873, 0.0051785478),
    2: (0.9852, 0.0097, 0.0009284122, 0.0022598583, -0.0005015760),
}
HALF_A_DIGIT = 0.00005


@pytest.mark.parametrize("reader", PRINTED)
def test_area_and_standard_error_of_clustered_readings(reader):
    area, std_error, s10, s01, s11 = PRINTED[reader]
    found = c_statistic(READER[reader], NARROWED, PATIENT)
    assert found.estimate == pytest.approx(area, abs=HALF_A_DIGIT)
    assert found.std_error == pytest.approx(std_error, abs=HALF_A_DIGIT)
    m, n = NARROWED.sum(), (~NARROWED).sum()
    assert found.std_error**2 == pytest.approx(s10 / m + s01 / n + 2 * s11 / (m * n), abs=1e-11)
