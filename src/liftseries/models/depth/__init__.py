"""How deep was drilled: agreement with the plan, deviations."""
