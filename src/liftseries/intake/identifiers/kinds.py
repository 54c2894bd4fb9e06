"""The eighteen kinds of identifier, and what a column is for, on which it depends what counts as one.

The kinds and their letters are those of 45 CFR 164.514(b)(2)(i)(A)-(R).
"""

from __future__ import annotations

from enum import Enum


class Kind(Enum):
    """A kind of identifier: its letter in 45 CFR 164.514(b)(2)(i), and its name as the user is told it."""

    NAME = "A", "a person's name"
    ADDRESS = "B", "an address, a postal code or a position"
    DATE = "C", "a date finer than a year"
    TELEPHONE = "D", "a telephone number"
    FAX = "E", "a fax number"
    EMAIL = "F", "an e-mail address"
    SOCIAL_SECURITY = "G", "a social security or national identity number"
    RECORD = "H", "a medical record number"
    INSURANCE = "I", "a health insurance number"
    ACCOUNT = "J", "an account or card number"
    LICENCE = "K", "a certificate, licence or passport number"
    VEHICLE = "L", "a vehicle identifier or number plate"
    DEVICE = "M", "a device identifier or serial number"
    URL = "N", "a web address"
    IP = "O", "an IP address"
    BIOMETRIC = "P", "a biometric identifier or recording"
    IMAGE = "Q", "an image or scan of a person"
    OTHER = "R", "a number or code that can single a person out"

    def __init__(self, letter: str, words: str):
        self.letter, self.words = letter, words


class Role(Enum):
    """What a column is for, since the same text is a label in one and a name in another."""

    KEY = "key"  # pseudonyms of people and sites
    LABEL = "label"  # words of the study's own, and every column that the schema does not know
    NUMBER = "number"  # numbers and levels, where any other text is refused anyway
    HARD_ONLY = "hard only"  # titles and file names: only what can be nothing else
