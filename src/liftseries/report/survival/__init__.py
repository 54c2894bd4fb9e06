"""The chapter on how long implants stay."""
