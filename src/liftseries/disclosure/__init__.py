"""What may leave the house: counts, what must be withheld, and the attack that tries it."""
