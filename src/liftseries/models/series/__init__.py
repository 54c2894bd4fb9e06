"""Who is in the series: flow, characteristics, missing values."""
