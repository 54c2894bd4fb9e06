"""Printed counts of the literature: their crude rates and Wilson limits. Only counts seen in their source."""

import numpy as np
import pandas as pd
import pytest

from liftseries.models.perforation.rate import fit_perforation_rate
from liftseries.models.survival.km import fit_survival_km

# implants, lost, survival printed in per cent
PRINTED_SURVIVAL = {
    "Gherlone 2022, doi:10.3390/app12136729, transcrestal": (46, 2, "95.65"),
    "Gherlone 2022, doi:10.3390/app12136729, lateral": (48, 2, "95.83"),
    "Gherlone 2022, doi:10.3390/app12136729, tilted": (50, 1, "98"),
    "Agamy and Niedermeier 2010, lift, month 119": (47, 3, "93.6"),
    "Agamy and Niedermeier 2010, control, month 119": (31, 3, "90.3"),
}


@pytest.mark.parametrize(("n", "n_lost", "printed"), PRINTED_SURVIVAL.values(), ids=PRINTED_SURVIVAL)
def test_survival_of_implants_followed_to_the_end(n, n_lost, printed):
    """With everyone else followed to the last month Kaplan-Meier is the crude share, as these papers print it."""
    months = np.where(np.arange(n) < n_lost, 24.0, 119.0)
    implants = pd.DataFrame({"patient_id": np.arange(n), "months": months, "failed": months < 119})
    row = fit_survival_km(implants, [119]).rows.iloc[0]
    decimals = len(printed.partition(".")[2])
    assert f"{100 * row['estimate']:.{decimals}f}" == printed


# events, sites; limits in per cent are our arithmetic on printed counts, worked apart from this package
WILSON = {
    "Hsu 2022, doi:10.1111/cid.13086, perforated": (50, 975, "3.91", "6.70"),
    "Hsu 2022, doi:10.1111/cid.13086, sinusitis": (3, 975, "0.10", "0.90"),
    "Rammelsberg 2020, lost after a lift": (30, 648, "3.26", "6.53"),
    "Rammelsberg 2020, lost without": (28, 674, "2.89", "5.94"),
    "Shi 2016, lost": (102, 3119, "2.70", "3.95"),
    "Sammartino 2011, doi:10.1111/j.1600-0501.2010.01998.x, vertigo, mallet": (3, 98, "1.05", "8.62"),
    "Sammartino 2011, doi:10.1111/j.1600-0501.2010.01998.x, vertigo, screw": (0, 98, "0.00", "3.77"),
}


@pytest.mark.parametrize(("n_events", "n", "low", "high"), WILSON.values(), ids=WILSON)
def test_wilson_limits_of_printed_counts(n_events, n, low, high):
    event = np.where(np.arange(n) < n_events, "yes", "no")
    cases = pd.DataFrame({"patient_id": np.arange(n), "perforation": event})
    row = fit_perforation_rate(cases).rows.set_index("method").loc["wilson"]
    assert (f"{100 * row['conf_low']:.2f}", f"{100 * row['conf_high']:.2f}") == (low, high)


def test_share_of_perforations_as_printed():
    """Hsu 2022, doi:10.1111/cid.13086: 50 of 975 transcrestal lifts, printed 5.13 %."""
    cases = pd.DataFrame({"patient_id": range(975), "perforation": ["yes"] * 50 + ["no"] * 925})
    rate = fit_perforation_rate(cases).rows.set_index("method")["estimate"]
    assert f"{100 * rate['wilson']:.2f}" == "5.13"
    assert f"{100 * rate['cluster']:.2f}" == "5.13"  # one site a patient: nothing to cluster
