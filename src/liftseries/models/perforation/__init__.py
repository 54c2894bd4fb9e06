"""How often the membrane tears, and what goes with it."""
