"""The chapters on what differs between groups of sites: who is compared, what differs, the same as drilled."""
