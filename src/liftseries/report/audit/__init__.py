"""The chapters for a committee: its first page, units against each other and over time, flags stage by stage."""
