"""The E-value: how strongly a hidden cause would have to go with exposure and outcome to explain a risk ratio away."""

import numpy as np


def e_value(risk_ratio: float) -> float:
    """The risk ratio that a hidden cause needs with exposure and outcome to make `risk_ratio` out of 1.

    Source: VanderWeele and Ding 2017, doi:10.7326/M16-2607.
    """
    away = max(risk_ratio, 1 / risk_ratio)
    return float(away + np.sqrt(away * (away - 1)))
