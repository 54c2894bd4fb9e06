"""What differs between groups of sites: weighted, standardised and crude contrasts."""
