"""How long implants stay: curves, hazards, and what their assumptions are worth."""
