"""LibreOffice, run without a screen, as the spreadsheet program that fills a workbook in and calculates it.

It types as a user does: each text goes through the program's own reading of input, in the user's language, so that
`5,2` is a number in German and a text of digits stays a text in a cell of the text format. Every run has a profile of
its own. Where the program itself dies (a signal, or an end before our macro began) it is tried once more, with the
workbook as it was; what it wrote is judged and never tried again. Where LibreOffice is missing, tests marked
`with_soffice` are skipped on a developer's machine and fail in CI.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path

import pytest

SOFFICE = shutil.which("soffice")
with_soffice = pytest.mark.skipif(
    SOFFICE is None and not os.environ.get("CI"), reason="LibreOffice (soffice) is not installed"
)
MACRO = """
Sub Fill(book As String, typed As String)
  files = CreateUnoService("com.sun.star.ucb.SimpleFileAccess")
  files.copy(typed, typed & ".begun")
  Dim none(0) As New com.sun.star.beans.PropertyValue
  none(0).Name = "Hidden" : none(0).Value = True
  document = StarDesktop.loadComponentFromURL(book, "_blank", 0, none())
  lines = CreateUnoService("com.sun.star.io.TextInputStream")
  lines.setInputStream(files.openFileRead(typed))
  lines.setEncoding("UTF-8")
  Do While Not lines.isEOF()
    part = Split(lines.readLine(), Chr(9))
    If UBound(part) = 3 Then
      document.Sheets.getByName(part(0)).getCellByPosition(CLng(part(1)), CLng(part(2))).FormulaLocal = part(3)
    End If
  Loop
  document.calculateAll()
  Dim as_xlsx(0) As New com.sun.star.beans.PropertyValue
  as_xlsx(0).Name = "FilterName" : as_xlsx(0).Value = "Calc MS Excel 2007 XML"
  document.storeToURL(book, as_xlsx())
  document.close(True)
End Sub
"""
XML = '<?xml version="1.0" encoding="UTF-8"?>\n'
LIBRARY_LIST = (
    '<library:libraries xmlns:library="http://openoffice.org/2000/library" xmlns:xlink="http://www.w3.org/1999/xlink">'
    '<library:library library:name="Standard" xlink:href="$(USER)/basic/Standard/script.xlb/" xlink:type="simple" '
    'library:link="false"/></library:libraries>'
)
LIBRARY = (
    '<library:library xmlns:library="http://openoffice.org/2000/library" library:name="Standard" '
    'library:readonly="false" library:passwordprotected="false"><library:element library:name="Entry"/>'
    "</library:library>"
)
MODULE = (
    '<script:module xmlns:script="http://openoffice.org/2000/script" script:name="Entry" '
    'script:language="StarBasic"><![CDATA[{}]]></script:module>'
)
SETTINGS = (
    '<oor:items xmlns:oor="http://openoffice.org/2001/registry" xmlns:xs="http://www.w3.org/2001/XMLSchema">'
    '<item oor:path="/org.openoffice.Setup/L10N"><prop oor:name="ooSetupSystemLocale" oor:op="fuse">'
    "<value>{}</value></prop></item>"
    # Else the first start would put the empty presets in the place of our macro.
    '<item oor:path="/org.openoffice.Setup/Office"><prop oor:name="ooSetupInstCompleted" oor:op="fuse">'
    "<value>true</value></prop></item></oor:items>"
)

Typed = Sequence[tuple[str, int, int, str]]


def type_in(book: Path, typed: Typed, language: str = "en-GB") -> None:
    """Opens the workbook, types, calculates and saves it in place.

    Parameters
    ----------
    book
    typed : (sheet, column from 0, row as the sheet shows it, text)
    language
        In which the user's computer is set up, and numbers are typed.
    """
    as_given = book.read_bytes()
    for attempt in (1, 2):
        home = book.parent / f"{book.stem}-profile-{attempt}"
        _write_profile(home / "user", language)
        lines = home / "typed.tsv"
        rows = (f"{sheet}\t{x}\t{row - 1}\t{text}" for sheet, x, row, text in typed)
        lines.write_text("\n".join(rows), encoding="utf-8")
        ended = _run(home, f"macro:///Standard.Entry.Fill({book.resolve().as_uri()},{lines.resolve().as_uri()})")
        if attempt == 1 and _crashed(ended.returncode, begun=lines.with_name("typed.tsv.begun").exists()):
            book.write_bytes(as_given)
            continue
        break
    assert ended.returncode == 0, ended.stderr
    assert book.read_bytes() != as_given, "LibreOffice did not save the workbook"


def _crashed(returncode: int, begun: bool) -> bool:
    """Whether a signal ended the program (its starting script gives 128 + signal), or it never came to our macro."""
    return returncode < 0 or returncode > 128 or not begun


def calculated(book: Path) -> None:
    """Lets LibreOffice work out every formula and save the workbook in place."""
    type_in(book, [])


def _write_profile(user: Path, language: str) -> None:
    standard = user / "basic" / "Standard"
    standard.mkdir(parents=True, exist_ok=True)
    for path, words in {
        user / "basic" / "script.xlc": LIBRARY_LIST,
        standard / "script.xlb": LIBRARY,
        standard / "Entry.xba": MODULE.format(MACRO),
        user / "registrymodifications.xcu": SETTINGS.format(language),
    }.items():
        path.write_text(XML + words, encoding="utf-8")


def _run(home: Path, *arguments: str) -> subprocess.CompletedProcess:
    assert SOFFICE, "LibreOffice (soffice) is not installed, though CI is set: see .ci/run"
    profile = f"-env:UserInstallation={home.resolve().as_uri()}"
    return subprocess.run(
        [SOFFICE, "--headless", "--norestore", profile, *arguments], capture_output=True, encoding="utf-8"
    )
