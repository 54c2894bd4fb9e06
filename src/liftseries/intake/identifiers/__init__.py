"""What points at a person: the kinds of identifier, and the screen that looks for them in cells."""
