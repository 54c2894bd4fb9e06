"""What in a text or a header points to a person: the eighteen kinds of identifier, seen by pattern.

The kinds and their letters are those of 45 CFR 164.514(b)(2)(i)(A)-(R). A pattern sees what has a shape of its own, a
check digit, or a word beside it that says what it is. It can't see a surname alone or a name in a free label (words
are all that a name is), initials, a nickname, a bare number that is nobody's but has no check digit, nor a face: there
the names of image files stand in, as those of recordings do for voices.

Numbers with published check digits are left to python-stdnum.
"""

from __future__ import annotations

import datetime
import ipaddress
import re
import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import Enum

from liftseries.intake.identifiers.words import (
    GIVEN_NAMES,
    HEADERS,
    LABELS,
    MONTHS,
    NO_SURNAMES,
    STREETS,
    TITLES,
    US_STATES,
)


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


@dataclass(frozen=True)
class Pattern:
    """One way to see one kind."""

    kind: Kind
    regex: re.Pattern[str]  # digits only as \d, since it runs on shapes, in which every digit is 0
    holds: Callable[[str], bool] | None = None  # asked of what the regex matched
    # Where chance could do it: so many different texts at least, and every one that has the shape must hold.
    from_texts: int = 0
    in_codes: bool = False  # also in a text of letters, digits, - and _ alone
    roles: tuple[Role, ...] = (Role.KEY, Role.LABEL, Role.NUMBER)


CODE = re.compile(r"[A-Za-z0-9_-]*")
# UUIDs, hexadecimal digests and our own pseudonyms: codes by construction, so not looked at.
MADE_CODE = re.compile(r"[0-9a-f]{32,}|[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}|[a-z]-[a-z2-7]{16}", re.I)
TO_SHAPE = str.maketrans("123456789", "000000000")
LONG_NUMBER = 10**8  # nine digits: no measurement, year or count of a case series has so many


def kinds_of(texts: Sequence[str], role: Role) -> dict[str, Kind]:
    """The texts that look like an identifier, and the kind.

    Parameters
    ----------
    texts : different texts of one column, without blanks around them
    role
        What the column is for.
    """
    by_shape: dict[str, list[str]] = {}
    for text in texts:
        if not MADE_CODE.fullmatch(text):
            by_shape.setdefault(text.translate(TO_SHAPE), []).append(text)
    shapes = {
        True: [shape for shape in by_shape if CODE.fullmatch(shape)],
        False: [shape for shape in by_shape if not CODE.fullmatch(shape)],
    }
    found: dict[str, Kind] = {}
    for pattern in PATTERNS:
        if role not in pattern.roles:
            continue
        for are_codes in (True, False) if pattern.in_codes else (False,):
            alike = [text for shape in shapes[are_codes] if pattern.regex.search(shape) for text in by_shape[shape]]
            hits = [text for text in alike if _holds(pattern, text)]
            if hits and (pattern.from_texts == 0 or (pattern.from_texts <= len(hits) == len(alike))):
                for text in hits:
                    found.setdefault(text, pattern.kind)
    return found


def kind_of_header(name: str) -> Kind | None:
    """The kind of identifier that a column of this name would hold, None where it says nothing of the sort.

    Letter case, accents and what stands between the words do not matter: `DateOfBirth`, `date_of_birth`.
    """
    spaced = re.sub(r"(?<=[a-zà-ÿ])(?=[A-ZÀ-Þ])", " ", name)
    plain = unicodedata.normalize("NFKD", spaced.casefold())
    words = " ".join(re.findall(r"[a-z0-9]+", "".join(letter for letter in plain if not unicodedata.combining(letter))))
    letter = next((letter for letter, pattern in HEADERS if re.search(pattern, words)), None)
    return next((kind for kind in Kind if kind.letter == letter), None)


def _holds(pattern: Pattern, text: str) -> bool:
    if pattern.holds is None:
        return True
    return any(pattern.holds(match[0]) for match in pattern.regex.finditer(text))


# ── what makes a shape the real thing ─────────────────────────────────────────────────────────────────────────


def _is_date(order: str) -> Callable[[str], bool]:
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


def _is_day_month_year(text: str) -> bool:
    return _is_date("dmy")(text) or _is_date("mdy")(text)


def _is_eight_digit_date(text: str) -> bool:
    return _is_date("ymd")(f"{text[:4]} {text[4:6]} {text[6:]}")


def _is_month(text: str) -> bool:
    return _is_date("ymd")(f"{text}-01")


def _has_digits(at_least: int, at_most: int, start: str = "") -> Callable[[str], bool]:
    def holds(text: str) -> bool:
        digits = re.sub(r"\D", "", text)
        return at_least <= len(digits) <= at_most and digits.startswith(start)

    return holds


def _is_north_american(text: str) -> bool:
    """Area code and exchange begin with 2 to 9. Source: the North American Numbering Plan."""
    area, exchange, _ = re.findall(r"\d+", text)
    return area[0] >= "2" and exchange[0] >= "2"


def _number(module: str, prepare: Callable[[str], str] = str) -> Callable[[str], bool]:
    """The check of python-stdnum's module of that name, loaded when first asked."""

    def holds(text: str) -> bool:
        from importlib import import_module

        return import_module(f"stdnum.{module}").is_valid(prepare(text))

    return holds


def _is_card(text: str) -> bool:
    return text[0] in "3456" and _number("luhn")(re.sub(r"\D", "", text))


def _is_npi(text: str) -> bool:
    """Source: 45 CFR 162.406, ten digits with the Luhn check digit of the number after 80840."""
    return text[0] in "12" and _number("luhn")("80840" + text)


def _is_vin(text: str) -> bool:
    """Source: 49 CFR 565.15(c), the check digit in the ninth place."""
    values = {letter: i % 9 + 1 for i, letter in enumerate("ABCDEFGH")} | dict(zip("JKLMN", range(1, 6), strict=True))
    values |= {"P": 7, "R": 9} | dict(zip("STUVWXYZ", range(2, 10), strict=True)) | {str(i): i for i in range(10)}
    weights = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
    if not (re.search(r"\d", text) and re.search(r"[A-Z]", text)):
        return False
    rest = sum(weight * values[sign] for weight, sign in zip(weights, text, strict=True)) % 11
    return text[8] == ("X" if rest == 10 else str(rest))


def _is_german_insured(text: str) -> bool:
    """Letter as two digits, weights 1 and 2, sums of digits; from memory of the number's public description."""
    digits = f"{ord(text[0]) - ord('A') + 1:02d}{text[1:9]}"
    total = sum(sum(map(int, str(int(digit) * (1 + i % 2)))) for i, digit in enumerate(digits))
    return total % 10 == int(text[9])


def _is_orcid(text: str) -> bool:
    from stdnum.iso7064 import mod_11_2

    return mod_11_2.is_valid(text.replace("-", ""))


def _is_ip(text: str) -> bool:
    """A dotted number of small parts may be a key made of centre, patient and tooth; one with a larger part is not."""
    try:
        address = ipaddress.ip_address(text)
    except ValueError:
        return False
    return address.version == 6 or address.packed[0] == 10 or max(address.packed) > 48


def _is_position(text: str) -> bool:
    latitude, longitude = (float(part) for part in text.split(","))
    return abs(latitude) <= 90 and abs(longitude) <= 180


def _no_surname(text: str) -> bool:
    return not NO_SURNAMES & set(re.findall(r"[^\W\d_]+", text.casefold()))


# ── the patterns, the surest first ────────────────────────────────────────────────────────────────────────────

_ALONE, _ENDS = r"(?<![A-Za-z\d])", r"(?![A-Za-z\d])"
_CAPITAL, _WORD = r"[A-ZÀ-ÖØ-Þ]", r"[^\W\d_]"
_SURNAME = rf"{_CAPITAL}(?:{_WORD}|['’-]){{1,40}}"
_PARTICLES = r"(?:(?:van|von|vom|zu|de|der|den|del|della|di|da|la|le|el|al|bin|ben|dos)\s+)*"
_GIVEN = rf"(?<!{_WORD})(?i:{'|'.join(GIVEN_NAMES)})(?!{_WORD})"
_MONTH = rf"(?<!{_WORD})(?i:{'|'.join(MONTHS)})(?!{_WORD})"
_STREET_OF = rf"(?:{'|'.join(STREETS['before'])})\s+{_PARTICLES}{_WORD}{{3}}"
_TEXTS = (Role.KEY, Role.LABEL)
_ANYWHERE = (*_TEXTS, Role.NUMBER, Role.HARD_ONLY)
# Behind a label such as "MRN": three digits at least, letters and separators among them; behind "tel" five.
_LABELLED = r"[\W_]{0,3}(?:(?:no|nr|number|id|num)[\W_]{1,3})?(?=(?:[A-Za-z./-]*\d){3})[A-Za-z\d][A-Za-z\d ./-]{3,}"
_LABELLED_PHONE = r"[\W_]{0,3}(?:(?:no|nr|number)[\W_]{1,3})?[+(]{0,2}(?:\d[ ()./-]{0,3}){5,}"


def _pattern(kind: Kind, regex: str, *checks: Callable[[str], bool], **rest) -> Pattern:
    return Pattern(kind, re.compile(regex), *checks, **rest)


PATTERNS: tuple[Pattern, ...] = (
    _pattern(Kind.EMAIL, r"[^\s@,;<>]{1,64}@[^\s@,;<>]{1,255}\.[^\W\d]{2,}", roles=_ANYWHERE),
    _pattern(Kind.URL, r"(?i)\b(?:https?|s?ftp|file)://|\bwww\.[\w-]+\.|\b[\w-]+\.(?:com|org|net|edu|gov|clinic)\b"),
    _pattern(Kind.IMAGE, r"(?i)\w\.(?:jpe?g|png|heic|heif|tiff?|bmp|gif|webp|dcm|nii|stl|ply|mp4|mov|avi)\b|"
             r"data:image"),
    _pattern(Kind.BIOMETRIC, r"(?i)\w\.(?:wav|mp3|m4a|flac|ogg|wsq|fmr|bir)\b"),
    _pattern(Kind.BIOMETRIC, r"(?i)(?:finger|voice|palm|face)[ _-]?prints?|(?:iris|retina)[ _-]?scan", in_codes=True),
    *(
        _pattern(
            Kind[kind],
            rf"(?i)(?<!{_WORD})(?:{'|'.join(words)})(?!{_WORD})"
            + (_LABELLED_PHONE if kind in ("FAX", "TELEPHONE") else _LABELLED),
            roles=_ANYWHERE if kind in ("FAX", "SOCIAL_SECURITY", "INSURANCE", "TELEPHONE") else (*_TEXTS, Role.NUMBER),
        )
        for kind, words in LABELS.items()
    ),
    *(
        _pattern(Kind[kind], rf"(?i)^(?:{'|'.join(words)})[-_]?\d{{4,}}$", in_codes=True)
        for kind, words in LABELS.items()
    ),
    # dates
    _pattern(
        Kind.DATE, r"(?i)(?<![^\W\d_])(?:dob|d\.o\.b|born|birth ?date|date of birth|geb|geboren|n[ée]e? le|nat[oa] il)"
        r"(?![^\W\d_])[\W_]*\d", in_codes=True,
    ),
    _pattern(Kind.DATE, r"(?<!\d)\d{4}([-/.])\d{1,2}\1\d{1,2}(?!\d)", _is_date("ymd"), in_codes=True, roles=_TEXTS),
    _pattern(Kind.DATE, r"(?<![\d.])\d{1,2}([-/.])\d{1,2}\1\d{4}(?!\d)", _is_day_month_year, in_codes=True,
             roles=_TEXTS),
    _pattern(
        Kind.DATE, r"(?<![\d.])\d{1,2}([-/.])\d{1,2}\1\d{2}(?![\d.])", _is_day_month_year, from_texts=5,
        roles=(Role.LABEL,),
    ),
    _pattern(Kind.DATE, r"^\d{8}$", _is_eight_digit_date, from_texts=5, in_codes=True, roles=_TEXTS),
    _pattern(Kind.DATE, rf"{_ALONE}\d{{1,2}}(?:\.|st|nd|rd|th)?[\W_]{{0,2}}{_MONTH}[\W_]{{0,2}}"
             r"(?:\d{4}|\d{2})(?![A-Za-z\d])", in_codes=True, roles=_TEXTS),
    _pattern(Kind.DATE, rf"{_ALONE}{_MONTH}[\W_]{{0,2}}(?:\d{{1,2}}(?:st|nd|rd|th)?,?\s+)?\d{{4}}{_ENDS}",
             in_codes=True, roles=_TEXTS),
    _pattern(Kind.DATE, r"^\d{4}[-/.]\d{2}$", _is_month, from_texts=3, in_codes=True, roles=(Role.LABEL,)),
    # numbers with a shape or check digit of their own
    _pattern(Kind.ACCOUNT, rf"{_ALONE}[A-Z]{{2}}\d{{2}}(?: ?[A-Z\d]{{4}}){{2,7}}(?: ?[A-Z\d]{{1,3}})?{_ENDS}",
             _number("iban"), in_codes=True),
    _pattern(Kind.SOCIAL_SECURITY, r"(?<![\d-])\d{3}-\d{2}-\d{4}(?![\d-])", _number("us.ssn"), in_codes=True,
             roles=_ANYWHERE),
    _pattern(Kind.SOCIAL_SECURITY, r"(?<![\d.])\d{3}\.\d{4}\.\d{4}\.\d{2}(?![\d.])", _number("ch.ssn"),
             roles=_ANYWHERE),
    _pattern(Kind.SOCIAL_SECURITY, r"^\d \d{2} \d{2} \d{2} \d{3} \d{3} \d{2}$|^\d{15}$", _number("fr.nir"),
             from_texts=1, in_codes=True),
    _pattern(Kind.SOCIAL_SECURITY, r"^[A-Z]{6}\d{2}[A-Z]\d{2}[A-Z]\d{3}[A-Z]$", _number("it.codicefiscale"),
             in_codes=True),
    _pattern(Kind.SOCIAL_SECURITY, r"^(?:\d{2})?\d{6}[-+]\d{4}$", _number("se.personnummer"), from_texts=1,
             in_codes=True),
    _pattern(Kind.SOCIAL_SECURITY, r"^\d{6}-\d{4}$", _number("dk.cpr"), from_texts=3, in_codes=True),
    _pattern(Kind.SOCIAL_SECURITY, r"^\d{6}[-+A]\d{3}[A-Z\d]$", _number("fi.hetu"), from_texts=1, in_codes=True),
    _pattern(Kind.SOCIAL_SECURITY, r"^\d{6} ?\d{5}$", _number("no.fodselsnummer"), from_texts=1, in_codes=True),
    _pattern(Kind.SOCIAL_SECURITY, r"^\d{11}$", _number("pl.pesel"), from_texts=3, in_codes=True),
    _pattern(Kind.SOCIAL_SECURITY, r"^\d{2}(?: ?\d{3}){3}$", _number("de.idnr"), from_texts=3, in_codes=True),
    _pattern(Kind.SOCIAL_SECURITY, r"^\d{8}-?[A-Z]$", _number("es.dni"), from_texts=5, in_codes=True),
    _pattern(Kind.SOCIAL_SECURITY, r"^\d{9}$", _number("nl.bsn"), from_texts=5, in_codes=True),
    _pattern(Kind.SOCIAL_SECURITY, rf"{_ALONE}[A-CEGHJ-PR-TW-Z][A-CEGHJ-NPR-TW-Z](?: \d{{2}}){{3}} [A-D]{_ENDS}"),
    _pattern(Kind.SOCIAL_SECURITY, r"^\d{3} ?\d{3} ?\d{4}$", _number("gb.nhs"), from_texts=5, in_codes=True),
    # The shape of a Medicare number as its issuer publishes it, from memory.
    _pattern(Kind.INSURANCE, r"^\d[AC-HJKMNP-RT-Y][AC-HJKMNP-RT-Y\d]\d-?[AC-HJKMNP-RT-Y][AC-HJKMNP-RT-Y\d]\d-?"
             r"[AC-HJKMNP-RT-Y]{2}\d{2}$", from_texts=1, in_codes=True),
    _pattern(Kind.INSURANCE, r"^[A-Z]\d{9}$", _is_german_insured, from_texts=5, in_codes=True),
    _pattern(Kind.ACCOUNT, r"(?<!\d)\d{4}([ -])\d{4}\1\d{4}\1\d{4}(?!\d)", _is_card, from_texts=1, in_codes=True),
    _pattern(Kind.DEVICE, r"^\d{15}$", _number("imei"), from_texts=5, in_codes=True),
    _pattern(Kind.ACCOUNT, r"^\d{13,19}$", _is_card, from_texts=5, in_codes=True),
    _pattern(Kind.LICENCE, r"^\d{10}$", _is_npi, from_texts=5, in_codes=True),
    _pattern(Kind.VEHICLE, r"^[A-HJ-NPR-Z\d]{17}$", _is_vin, from_texts=1, in_codes=True),
    _pattern(Kind.VEHICLE, rf"(?i)(?:plate|kennzeichen|immatriculation|matr[íi]cula)[\W_]{{1,3}}{_WORD}{{1,3}}[ -]"
             rf"(?:{_WORD}{{1,3}}[ -])?\d{{1,4}}"),
    _pattern(Kind.DEVICE, rf"(?i){_ALONE}[\da-f]{{2}}([:-])(?:[\da-f]{{2}}\1){{4}}[\da-f]{{2}}{_ENDS}", in_codes=True),
    _pattern(Kind.DEVICE, r"\(\d{2}\)\d{14}(?!\d)", lambda text: text.startswith("(01)") and _number("ean")(text[4:])),
    _pattern(Kind.OTHER, r"(?<!\d)(?:\d{4}-){3}\d{3}[\dX](?![\dX])", _is_orcid, in_codes=True),
    _pattern(Kind.OTHER, r"(?<![\d.])\d(?:\.\d+){5,}(?![\d.])"),  # an object identifier, as DICOM gives every image
    _pattern(Kind.IP, r"(?<![\d.])\d{1,3}(?:\.\d{1,3}){3}(?![\d.])", _is_ip),
    _pattern(Kind.IP, r"(?i)(?<![\w:])(?:[\da-f]{0,4}:){2,7}[\da-f]{0,4}(?![\w:])", _is_ip),
    # telephones: international, with an area code in brackets, with a leading zero and blanks, North American
    _pattern(Kind.TELEPHONE, r"\+\d[\d ()./-]{6,}\d", _has_digits(8, 15), roles=_ANYWHERE),
    _pattern(Kind.TELEPHONE, r"(?<![\w(])\(\d{2,5}\)[ /-]?\d[\d /-]{3,}\d", _has_digits(9, 13), roles=_ANYWHERE),
    _pattern(Kind.TELEPHONE, r"(?<![\w.-])\d{2,5}[ /]\d[\d /-]{3,}\d(?![\w.-])", _has_digits(9, 15, "0"),
             roles=_ANYWHERE),
    _pattern(Kind.TELEPHONE, r"(?<![\w.-])\d{3}([-. ])\d{3}\1\d{4}(?![\w.-])", _is_north_american, in_codes=True,
             roles=_ANYWHERE),
    # addresses, postal codes, positions
    _pattern(Kind.ADDRESS, rf"(?<!\w)\d{{1,5}}[a-z]?,?\s+(?:{_SURNAME}\s+){{1,3}}"
             rf"(?i:{'|'.join(STREETS['after'])})(?!{_WORD})"),
    _pattern(Kind.ADDRESS, rf"(?i){_WORD}{{3}}[ -]?(?:{'|'.join(STREETS['ending'])})\s*\d"),
    _pattern(Kind.ADDRESS, rf"(?i)\d{{1,4}},?\s+{_STREET_OF}|^{_STREET_OF}.*\d"),
    _pattern(Kind.ADDRESS, r"(?i)\bp\.? ?o\.? box\s+\d|\bpostfach\s+\d"),
    _pattern(Kind.ADDRESS, rf"(?<!\w)[A-Z]{{1,2}}\d[A-Z\d]? \d[A-Z]{{2}}{_ENDS}|(?<!\w)[A-Z]\d[A-Z] \d[A-Z]\d{_ENDS}"),
    _pattern(Kind.ADDRESS, rf"(?<!\w)(?:{'|'.join(US_STATES)}),? \d{{5}}(?:-\d{{4}})?{_ENDS}"),
    _pattern(Kind.ADDRESS, rf"^(?:[A-Z]{{1,2}}-)?\d{{5}} {_SURNAME}(?: {_WORD}+)*$", _no_surname),
    _pattern(Kind.ADDRESS, r"(?<![\d.])-?\d{1,2}\.\d{3,}, ?-?\d{1,3}\.\d{3,}(?!\d)", _is_position),
    # names
    _pattern(Kind.NAME, rf"(?<!{_WORD})(?:{'|'.join(TITLES)})(?:\.\s*|\s+)(?:(?i:med|dent|dr)\.?\s+)*"
             rf"{_PARTICLES}{_SURNAME}"),
    _pattern(Kind.NAME, rf"(?<!{_WORD})(?i:dr|prof)(?:\.\s*|\s+){_WORD}{{3,}}", _no_surname),
    _pattern(Kind.NAME, rf"{_GIVEN}(?:[ -]{_GIVEN})?\s+(?:{_CAPITAL}\.?\s+)?{_PARTICLES}{_SURNAME}", _no_surname),
    _pattern(Kind.NAME, rf"(?<!{_WORD}){_SURNAME},\s*{_GIVEN}", _no_surname),
    _pattern(Kind.NAME, rf"(?i)^{_GIVEN}(?:[ _.-]{{1,2}}{_WORD}+\.?)?$", _no_surname, in_codes=True, roles=(Role.KEY,)),
    _pattern(
        Kind.NAME, rf"^{_SURNAME}\s+(?:{_CAPITAL}\.?\s+)?{_PARTICLES}{_SURNAME}$", _no_surname, roles=(Role.KEY,)
    ),
    _pattern(Kind.NAME, rf"^{_CAPITAL}\.\s*(?:{_CAPITAL}\.\s*)?{_SURNAME}$|^{_SURNAME},?\s+{_CAPITAL}\.$|"
             rf"^{_SURNAME},\s*{_CAPITAL}(?:\.|{_WORD}+)?$|^(?:{_CAPITAL}\.){{2,3}}$", _no_surname, roles=(Role.KEY,)),
)  # fmt: skip
