"""How units lie to a standard and to each other: funnels, time charts, indicators."""
