"""Whether a text that has the shape of a date, number, address or name can be one: calendar, ranges, check digits.

Numbers with published check digits are left to python-stdnum.
"""

from __future__ import annotations

import datetime
import ipaddress
import re
from collections.abc import Callable

from liftseries.intake.identifiers.words import NO_SURNAMES


def is_date(order: str) -> Callable[[str], bool]:
    """Whether the three numbers are a day of the calendar, years 1900 to 2099, in an order such as `ymd`."""

    def holds(text: str) -> bool:
        numbers = dict(zip(order, map(int, re.findall(r"\d+", text)), strict=False))
        year = numbers["y"] + (2000 if numbers["y"] < 100 else 0)
        try:
            datetime.date(year, numbers["m"], numbers["d"])
        except ValueError:
            return False
        return 1900 <= year < 2100

    return holds


def is_day_month_year(text: str) -> bool:
    """Whether the three numbers are a day, month or day first."""
    return is_date("dmy")(text) or is_date("mdy")(text)


def is_eight_digit_date(text: str) -> bool:
    """Whether the eight digits are year, month and day."""
    return is_date("ymd")(f"{text[:4]} {text[4:6]} {text[6:]}")


def is_month(text: str) -> bool:
    """Whether the text is a year and a month of it."""
    return is_date("ymd")(f"{text}-01")


def has_digits(at_least: int, at_most: int, start: str = "") -> Callable[[str], bool]:
    """Whether a text has so many digits, and begins with those named."""

    def holds(text: str) -> bool:
        digits = re.sub(r"\D", "", text)
        return at_least <= len(digits) <= at_most and digits.startswith(start)

    return holds


def is_north_american(text: str) -> bool:
    """Area code and exchange begin with 2 to 9. Source: the North American Numbering Plan."""
    area, exchange, _ = re.findall(r"\d+", text)
    return area[0] >= "2" and exchange[0] >= "2"


def check_of(module: str, prepare: Callable[[str], str] = str) -> Callable[[str], bool]:
    """The check of python-stdnum's module of that name, loaded when first asked."""

    def holds(text: str) -> bool:
        from importlib import import_module

        return import_module(f"stdnum.{module}").is_valid(prepare(text))

    return holds


def is_card(text: str) -> bool:
    """A payment card: first digit 3 to 6, Luhn check digit."""
    return text[0] in "3456" and check_of("luhn")(re.sub(r"\D", "", text))


def is_npi(text: str) -> bool:
    """Source: 45 CFR 162.406, ten digits with the Luhn check digit of the number after 80840."""
    return text[0] in "12" and check_of("luhn")("80840" + text)


def is_vin(text: str) -> bool:
    """Source: 49 CFR 565.15(c), the check digit in the ninth place."""
    values = {letter: i % 9 + 1 for i, letter in enumerate("ABCDEFGH")} | dict(zip("JKLMN", range(1, 6), strict=True))
    values |= {"P": 7, "R": 9} | dict(zip("STUVWXYZ", range(2, 10), strict=True)) | {str(i): i for i in range(10)}
    weights = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
    if not (re.search(r"\d", text) and re.search(r"[A-Z]", text)):
        return False
    rest = sum(weight * values[sign] for weight, sign in zip(weights, text, strict=True)) % 11
    return text[8] == ("X" if rest == 10 else str(rest))


def is_german_insured(text: str) -> bool:
    """Letter as two digits, weights 1 and 2, sums of digits; from memory of the number's public description."""
    digits = f"{ord(text[0]) - ord('A') + 1:02d}{text[1:9]}"
    total = sum(sum(map(int, str(int(digit) * (1 + i % 2)))) for i, digit in enumerate(digits))
    return total % 10 == int(text[9])


def is_orcid(text: str) -> bool:
    """Check digit by ISO 7064, modulo 11-2."""
    from stdnum.iso7064 import mod_11_2

    return mod_11_2.is_valid(text.replace("-", ""))


def is_ip(text: str) -> bool:
    """A dotted number of small parts may be a key made of centre, patient and tooth; one with a larger part is not."""
    try:
        address = ipaddress.ip_address(text)
    except ValueError:
        return False
    return address.version == 6 or address.packed[0] == 10 or max(address.packed) > 48


def is_position(text: str) -> bool:
    """Latitude and longitude within the globe."""
    latitude, longitude = (float(part) for part in text.split(","))
    return abs(latitude) <= 90 and abs(longitude) <= 180


def can_be_name(text: str) -> bool:
    """Whether none of its words is one that is never a surname, such as `clinic`."""
    return not NO_SURNAMES & set(re.findall(r"[^\W\d_]+", text.casefold()))
