"""The patterns by which a text is seen to point at a person, the surest first.

A pattern sees what has a shape of its own, a check digit, or a word beside it that says what it is. It can't see a
surname alone or a name in a free label (words are all that a name is), initials, a nickname, a bare number that is
nobody's but has no check digit, nor a face: there the names of image files stand in, as those of recordings do for
voices.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from liftseries.intake.identifiers.kinds import Kind, Role
from liftseries.intake.identifiers.validity import (
    can_be_name,
    check_of,
    has_digits,
    is_card,
    is_date,
    is_day_month_year,
    is_eight_digit_date,
    is_german_insured,
    is_ip,
    is_month,
    is_north_american,
    is_npi,
    is_orcid,
    is_position,
    is_vin,
)
from liftseries.intake.identifiers.words import GIVEN_NAMES, LABELS, MONTHS, STREETS, TITLES, US_STATES


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


# Where any word beside a number or level is wrong anyway, a given name alone is enough.
GIVEN_ANYWHERE = re.compile(_GIVEN)

PATTERNS: tuple[Pattern, ...] = (
    _pattern(Kind.EMAIL, r"[^\s@,;<>]{1,64}@[^\s@,;<>]{1,255}\.[^\W\d]{2,}", roles=_ANYWHERE),
    _pattern(Kind.URL, r"(?i)\b(?:https?|s?ftp|file)://|\bwww\.[\w-]+\.|"
             r"(?<![\w-])-*\b[\w-]+\.(?:com|org|net|edu|gov|clinic)\b"),  # from the first letter on, or it takes long
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
    _pattern(Kind.DATE, r"(?<!\d)\d{4}([-/.])\d{1,2}\1\d{1,2}(?!\d)", is_date("ymd"), in_codes=True, roles=_TEXTS),
    _pattern(Kind.DATE, r"(?<![\d.])\d{1,2}([-/.])\d{1,2}\1\d{4}(?!\d)", is_day_month_year, in_codes=True,
             roles=_TEXTS),
    _pattern(
        Kind.DATE, r"(?<![\d.])\d{1,2}([-/.])\d{1,2}\1\d{2}(?![\d.])", is_day_month_year, from_texts=5,
        roles=(Role.LABEL,),
    ),
    _pattern(Kind.DATE, r"^\d{8}$", is_eight_digit_date, from_texts=5, in_codes=True, roles=_TEXTS),
    _pattern(Kind.DATE, rf"{_ALONE}\d{{1,2}}(?:\.|st|nd|rd|th)?[\W_]{{0,2}}{_MONTH}[\W_]{{0,2}}"
             r"(?:\d{4}|\d{2})(?![A-Za-z\d])", in_codes=True, roles=_TEXTS),
    _pattern(Kind.DATE, rf"{_ALONE}{_MONTH}[\W_]{{0,2}}(?:\d{{1,2}}(?:st|nd|rd|th)?,?\s+)?\d{{4}}{_ENDS}",
             in_codes=True, roles=_TEXTS),
    _pattern(Kind.DATE, r"^\d{4}[-/.]\d{2}$", is_month, from_texts=3, in_codes=True, roles=(Role.LABEL,)),
    # numbers with a shape or check digit of their own
    _pattern(Kind.ACCOUNT, rf"{_ALONE}[A-Z]{{2}}\d{{2}}(?: ?[A-Z\d]{{4}}){{2,7}}(?: ?[A-Z\d]{{1,3}})?{_ENDS}",
             check_of("iban"), in_codes=True),
    _pattern(Kind.SOCIAL_SECURITY, r"(?<![\d-])\d{3}-\d{2}-\d{4}(?![\d-])", check_of("us.ssn"), in_codes=True,
             roles=_ANYWHERE),
    _pattern(Kind.SOCIAL_SECURITY, r"(?<![\d.])\d{3}\.\d{4}\.\d{4}\.\d{2}(?![\d.])", check_of("ch.ssn"),
             roles=_ANYWHERE),
    _pattern(Kind.SOCIAL_SECURITY, r"^\d \d{2} \d{2} \d{2} \d{3} \d{3} \d{2}$|^\d{15}$", check_of("fr.nir"),
             from_texts=1, in_codes=True),
    _pattern(Kind.SOCIAL_SECURITY, r"^[A-Z]{6}\d{2}[A-Z]\d{2}[A-Z]\d{3}[A-Z]$", check_of("it.codicefiscale"),
             in_codes=True),
    _pattern(Kind.SOCIAL_SECURITY, r"^(?:\d{2})?\d{6}[-+]\d{4}$", check_of("se.personnummer"), from_texts=1,
             in_codes=True),
    _pattern(Kind.SOCIAL_SECURITY, r"^\d{6}-\d{4}$", check_of("dk.cpr"), from_texts=3, in_codes=True),
    _pattern(Kind.SOCIAL_SECURITY, r"^\d{6}[-+A]\d{3}[A-Z\d]$", check_of("fi.hetu"), from_texts=1, in_codes=True),
    _pattern(Kind.SOCIAL_SECURITY, r"^\d{6} ?\d{5}$", check_of("no.fodselsnummer"), from_texts=1, in_codes=True),
    _pattern(Kind.SOCIAL_SECURITY, r"^\d{11}$", check_of("pl.pesel"), from_texts=3, in_codes=True),
    _pattern(Kind.SOCIAL_SECURITY, r"^\d{2}(?: ?\d{3}){3}$", check_of("de.idnr"), from_texts=3, in_codes=True),
    _pattern(Kind.SOCIAL_SECURITY, r"^\d{8}-?[A-Z]$", check_of("es.dni"), from_texts=5, in_codes=True),
    _pattern(Kind.SOCIAL_SECURITY, r"^\d{9}$", check_of("nl.bsn"), from_texts=5, in_codes=True),
    _pattern(Kind.SOCIAL_SECURITY, rf"{_ALONE}[A-CEGHJ-PR-TW-Z][A-CEGHJ-NPR-TW-Z](?: \d{{2}}){{3}} [A-D]{_ENDS}"),
    _pattern(Kind.SOCIAL_SECURITY, r"^\d{3} ?\d{3} ?\d{4}$", check_of("gb.nhs"), from_texts=5, in_codes=True),
    # The shape of a Medicare number as its issuer publishes it, from memory.
    _pattern(Kind.INSURANCE, r"^\d[AC-HJKMNP-RT-Y][AC-HJKMNP-RT-Y\d]\d-?[AC-HJKMNP-RT-Y][AC-HJKMNP-RT-Y\d]\d-?"
             r"[AC-HJKMNP-RT-Y]{2}\d{2}$", from_texts=1, in_codes=True),
    _pattern(Kind.INSURANCE, r"^[A-Z]\d{9}$", is_german_insured, from_texts=5, in_codes=True),
    _pattern(Kind.ACCOUNT, r"(?<!\d)\d{4}([ -])\d{4}\1\d{4}\1\d{4}(?!\d)", is_card, from_texts=1, in_codes=True),
    _pattern(Kind.DEVICE, r"^\d{15}$", check_of("imei"), from_texts=5, in_codes=True),
    _pattern(Kind.ACCOUNT, r"^\d{13,19}$", is_card, from_texts=5, in_codes=True),
    _pattern(Kind.LICENCE, r"^\d{10}$", is_npi, from_texts=5, in_codes=True),
    _pattern(Kind.VEHICLE, r"^[A-HJ-NPR-Z\d]{17}$", is_vin, from_texts=1, in_codes=True),
    _pattern(Kind.VEHICLE, rf"(?i)(?:plate|kennzeichen|immatriculation|matr[íi]cula)[\W_]{{1,3}}{_WORD}{{1,3}}[ -]"
             rf"(?:{_WORD}{{1,3}}[ -])?\d{{1,4}}"),
    _pattern(Kind.DEVICE, rf"(?i){_ALONE}[\da-f]{{2}}([:-])(?:[\da-f]{{2}}\1){{4}}[\da-f]{{2}}{_ENDS}", in_codes=True),
    _pattern(Kind.DEVICE, r"\(\d{2}\)\d{14}(?!\d)", lambda text: text.startswith("(01)") and check_of("ean")(text[4:])),
    _pattern(Kind.OTHER, r"(?<!\d)(?:\d{4}-){3}\d{3}[\dX](?![\dX])", is_orcid, in_codes=True),
    _pattern(Kind.OTHER, r"(?<![\d.])\d(?:\.\d+){5,}(?![\d.])"),  # an object identifier, as DICOM gives every image
    _pattern(Kind.IP, r"(?<![\d.])\d{1,3}(?:\.\d{1,3}){3}(?![\d.])", is_ip),
    _pattern(Kind.IP, r"(?i)(?<![\w:])(?:[\da-f]{0,4}:){2,7}[\da-f]{0,4}(?![\w:])", is_ip),
    # telephones: international, with an area code in brackets, with a leading zero and blanks, North American
    _pattern(Kind.TELEPHONE, r"\+\d[\d ()./-]{6,}\d", has_digits(8, 15), roles=_ANYWHERE),
    _pattern(Kind.TELEPHONE, r"(?<![\w(])\(\d{2,5}\)[ /-]?\d[\d /-]{3,}\d", has_digits(9, 13), roles=_ANYWHERE),
    _pattern(Kind.TELEPHONE, r"(?<![\w.-])\d{2,5}[ /]\d[\d /-]{3,}\d(?![\w.-])", has_digits(9, 15, "0"),
             roles=_ANYWHERE),
    _pattern(Kind.TELEPHONE, r"(?<![\w.-])\d{3}([-. ])\d{3}\1\d{4}(?![\w.-])", is_north_american, in_codes=True,
             roles=_ANYWHERE),
    # addresses, postal codes, positions
    _pattern(Kind.ADDRESS, rf"(?<!\w)\d{{1,5}}[a-z]?,?\s+(?:{_SURNAME}\s+){{1,3}}"
             rf"(?i:{'|'.join(STREETS['after'])})(?!{_WORD})"),
    _pattern(Kind.ADDRESS, rf"(?i){_WORD}{{3}}[ -]?(?:{'|'.join(STREETS['ending'])})\s*\d"),
    _pattern(Kind.ADDRESS, rf"(?i)\d{{1,4}},?\s+{_STREET_OF}|^{_STREET_OF}.*\d"),
    _pattern(Kind.ADDRESS, r"(?i)\bp\.? ?o\.? box\s+\d|\bpostfach\s+\d"),
    _pattern(Kind.ADDRESS, rf"(?<!\w)[A-Z]{{1,2}}\d[A-Z\d]? \d[A-Z]{{2}}{_ENDS}|(?<!\w)[A-Z]\d[A-Z] \d[A-Z]\d{_ENDS}"),
    _pattern(Kind.ADDRESS, rf"(?<!\w)(?:{'|'.join(US_STATES)}),? \d{{5}}(?:-\d{{4}})?{_ENDS}"),
    _pattern(Kind.ADDRESS, rf"^(?:[A-Z]{{1,2}}-)?\d{{5}} {_SURNAME}(?: {_WORD}+)*$", can_be_name),
    _pattern(Kind.ADDRESS, r"(?<![\d.])-?\d{1,2}\.\d{3,}, ?-?\d{1,3}\.\d{3,}(?!\d)", is_position),
    # names
    _pattern(Kind.NAME, rf"(?<!{_WORD})(?:{'|'.join(TITLES)})(?:\.\s*|\s+)(?:(?i:med|dent|dr)\.?\s+)*"
             rf"{_PARTICLES}{_SURNAME}"),
    _pattern(Kind.NAME, rf"(?<!{_WORD})(?i:dr|prof)(?:\.\s*|\s+){_WORD}{{3,}}", can_be_name),
    _pattern(Kind.NAME, rf"{_GIVEN}(?:[ -]{_GIVEN})?\s+(?:{_CAPITAL}\.?\s+)?{_PARTICLES}{_SURNAME}", can_be_name),
    _pattern(Kind.NAME, rf"(?<!{_WORD}){_SURNAME},\s*{_GIVEN}", can_be_name),
    _pattern(Kind.NAME, rf"(?i)^{_GIVEN}(?:[ _.-]{{1,2}}{_WORD}+\.?)?$", can_be_name, in_codes=True, roles=(Role.KEY,)),
    _pattern(
        Kind.NAME, rf"^{_SURNAME}\s+(?:{_CAPITAL}\.?\s+)?{_PARTICLES}{_SURNAME}$", can_be_name, roles=(Role.KEY,)
    ),
    _pattern(Kind.NAME, rf"^{_CAPITAL}\.\s*(?:{_CAPITAL}\.\s*)?{_SURNAME}$|^{_SURNAME},?\s+{_CAPITAL}\.$|"
             rf"^{_SURNAME},\s*{_CAPITAL}(?:\.|{_WORD}+)?$|^(?:{_CAPITAL}\.){{2,3}}$", can_be_name, roles=(Role.KEY,)),
)  # fmt: skip
