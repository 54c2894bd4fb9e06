"""The failed implants one by one, where they are too few for a ratio."""

import pandas as pd

from liftseries.models.shared.gates import RATIO

COLUMNS = ("rbh_mid_mm", "months", "smoking")


def failed_implants(implants: pd.DataFrame) -> pd.DataFrame:
    """Height, month found and smoking of each failed implant, of one to four; none where more have failed.

    Parameters
    ----------
    implants : one row an implant, as `follow_up()` gives it
    """
    failed = implants.loc[implants["failed"].astype(bool)]
    if not 0 < len(failed) < RATIO:
        failed = failed.iloc[:0]
    return failed.reindex(columns=list(COLUMNS)).sort_values("months", kind="stable").reset_index(drop=True)
