"""A workbook as the zip archive of XML parts that it is, opened within limits that bound memory and time.

Every part is unpacked here, once, up to a limit; parts with a document type, which may hold entities that
multiply, are refused. What reads the cells gets one sheet, repacked with its texts and styles alone.

Source: ECMA-376, Office Open XML, part 1 (18.2.20 `sheets`, 18.3.1 the sheet's elements) and part 2 (packages).
"""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from xml.etree import ElementTree
from xml.parsers import expat

from liftseries.base.reading import content
from liftseries.intake.files.grid import Unreadable

OLE = b"\xd0\xcf\x11\xe0"  # the container of workbooks before 2007 and of encrypted ones, [MS-CFB] 2.2
MOST_BYTES = 256 * 2**20  # of the file, and of the parts that are read once unpacked
MOST_OF_OTHERS = 16 * 2**20  # styles and the list of sheets, unpacked
MOST_PARTS = 10_000
ENTRY = b"PK\x01\x02"  # what begins an entry of a zip archive's directory
MOST_CELLS = 5_000_000  # filled or formatted
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
PACKAGE = "http://schemas.openxmlformats.org/package/2006"
STRICT = b"http://purl.oclc.org/ooxml/"
TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml"


class Damaged(Exception):
    """Not built as a workbook is."""


@dataclass(frozen=True)
class SheetPart:
    """A worksheet of the workbook."""

    title: str
    is_hidden: bool  # also what no menu of a spreadsheet program would show
    part: str


@dataclass(frozen=True)
class SheetXml:
    """One sheet's parts, unpacked; all bytes are UTF-8."""

    sheet: bytes
    texts: bytes  # the shared strings; empty where there are none
    styles: bytes
    counts_from_1904: bool

    def repacked(self) -> io.BytesIO:
        """A workbook of that sheet alone, called `sheet`."""
        kinds, relations = ["worksheet", "styles"], {"worksheet": "worksheets/sheet1.xml", "styles": "styles.xml"}
        parts = {"xl/worksheets/sheet1.xml": self.sheet, "xl/styles.xml": self.styles}
        if self.texts:
            kinds.append("sharedStrings")
            relations["sharedStrings"] = "sharedStrings.xml"
            parts["xl/sharedStrings.xml"] = self.texts
        types = "".join(
            f'<Override PartName="/xl/{relations[kind]}" ContentType="{TYPE}.{kind}+xml"/>' for kind in kinds
        )
        targets = "".join(
            f'<Relationship Id="r{at}" Type="{OFFICE}/{kind}" Target="{relations[kind]}"/>'
            for at, kind in enumerate(kinds)
        )
        parts["[Content_Types].xml"] = (
            f'<Types xmlns="{PACKAGE}/content-types"><Default Extension="rels" '
            f'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
            f'<Override PartName="/xl/workbook.xml" ContentType="{TYPE}.sheet.main+xml"/>{types}</Types>'
        )
        parts["_rels/.rels"] = (
            f'<Relationships xmlns="{PACKAGE}/relationships"><Relationship Id="r0" '
            f'Type="{OFFICE}/officeDocument" Target="xl/workbook.xml"/></Relationships>'
        )
        parts["xl/workbook.xml"] = (
            f'<workbook xmlns="{MAIN}" xmlns:r="{OFFICE}"><workbookPr date1904="{int(self.counts_from_1904)}"/>'
            f'<sheets><sheet name="sheet" sheetId="1" r:id="r0"/></sheets></workbook>'
        )
        parts["xl/_rels/workbook.xml.rels"] = (
            f'<Relationships xmlns="{PACKAGE}/relationships">{targets}</Relationships>'
        )
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_STORED) as archive:
            for name, content in parts.items():
                archive.writestr(name, content)
        packed.seek(0)
        return packed


class Workbook:
    """An open workbook; use it in a `with`.

    Raises
    ------
    Unreadable
        Locked by a password, of an older kind, damaged, or beyond a limit.
    """

    def __init__(self, path: Path, name: str):
        self.name = name
        data = content(path, MOST_BYTES)
        _check_kind(data, name)
        self._left = MOST_BYTES
        # Counted before the directory is taken apart, each entry of which costs ten times its length.
        if (n_parts := data.count(ENTRY)) > MOST_PARTS:
            raise self._too_many(n_parts)
        try:
            self._archive = zipfile.ZipFile(io.BytesIO(data))
            self._infos = self._checked_infos()
            self._read_directory()
        except DAMAGES:
            raise self.damaged from None

    def __enter__(self) -> Workbook:
        return self

    def __exit__(self, *_) -> None:
        self._archive.close()

    @property
    def damaged(self) -> Unreadable:
        return Unreadable(self.name, "is no workbook or a damaged one. Open and save it as .xlsx.")

    def _too_many(self, n_parts: int) -> Unreadable:
        return Unreadable(self.name, f"is packed from {n_parts} parts. Save the tables alone as a new workbook.")

    def sheet_xml(self, sheet: SheetPart) -> SheetXml:
        """The parts that the sheet's cells stand in."""
        try:
            content = self._part(sheet.part, MOST_BYTES)
            texts = self._part(self._texts, MOST_BYTES) if self._texts in self._infos else b""
            styles = self._part(self._styles, MOST_OF_OTHERS) if self._styles in self._infos else EMPTY_STYLES
            for part in (content, texts):
                if part:
                    expat.ParserCreate().Parse(part, True)
        except DAMAGES:
            raise self.damaged from None
        if (n_cells := len(re.findall(rb"<(?:\w+:)?c[\s/>]", content))) > MOST_CELLS:
            message = f"{n_cells} cells hold something or are formatted; at most {MOST_CELLS} are read."
            raise Unreadable(
                self.name, f"{message} Delete the empty rows and columns beside the table, formats and all."
            )
        return SheetXml(content, texts, styles, self._counts_from_1904)

    def _checked_infos(self) -> dict[str, zipfile.ZipInfo]:
        infos = self._archive.infolist()
        if len(infos) > MOST_PARTS:
            raise self._too_many(len(infos))
        by_name = {info.filename.lstrip("/"): info for info in infos}
        if len(by_name) != len(infos):
            raise Damaged
        return by_name

    def _part(self, name: str, most: int) -> bytes:
        info = self._infos[name]
        if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise Damaged
        # A part never gives more than it declares; where it declares less than it holds, its checksum fails.
        limit, most = most, min(most, self._left)
        with self._archive.open(info) as file:
            content = file.read(most + 1) if info.file_size <= most else b""
        if info.file_size > most or len(content) > most:
            message = f"unpacks to more than {limit >> 20} MB. Save the table alone as a new workbook, or as CSV."
            raise Unreadable(self.name, message)
        self._left -= len(content)
        _check_xml(content, self.name)
        return content

    def _read_directory(self) -> None:
        root = self._relations("")
        self._book = root.get("officeDocument", "xl/workbook.xml")
        if self._book not in self._infos and "xl/workbook.bin" in self._infos:
            raise Unreadable(self.name, "is a binary workbook (.xlsb). Save it as .xlsx.")
        content = self._part(self._book, MOST_OF_OTHERS)
        if STRICT in content:
            raise Unreadable(self.name, "is of the Strict Open XML kind. Save it as an ordinary .xlsx workbook.")
        book = ElementTree.fromstring(content)
        properties = book.find(f"{{{MAIN}}}workbookPr")
        self._counts_from_1904 = properties is not None and properties.get("date1904") in ("1", "true")
        relations = self._relations(self._book, by_id=True)
        self.sheets = [
            SheetPart(entry.get("name", ""), entry.get("state", "visible") != "visible", part)
            for entry in book.iter(f"{{{MAIN}}}sheet")
            if (part := relations.get(entry.get(f"{{{OFFICE}}}id"), "")) in self._infos and "worksheet" in part
        ]
        by_kind = self._relations(self._book)
        self._texts = by_kind.get("sharedStrings", "")
        self._styles = by_kind.get("styles", "")

    def _relations(self, part: str, by_id: bool = False) -> dict[str, str]:
        """Kind (or id) of the relation -> name of the part that it leads to."""
        folder, _, name = part.rpartition("/")
        path = f"{folder}/_rels/{name}.rels".lstrip("/")
        if path not in self._infos:
            return {}
        relations = {}
        for entry in ElementTree.fromstring(self._part(path, MOST_OF_OTHERS)):
            kind, target = entry.get("Type", "").rpartition("/")[2], entry.get("Target", "")
            target = target.lstrip("/") if target.startswith("/") else _joined(folder, target)
            relations[entry.get("Id", "") if by_id else kind] = target
        return relations


DAMAGES = (
    Damaged,
    zipfile.BadZipFile,
    zlib.error,
    ElementTree.ParseError,
    expat.ExpatError,
    KeyError,
    EOFError,
    RuntimeError,  # of a part that is encrypted on its own
    NotImplementedError,
    ValueError,
    OSError,
)
EMPTY_STYLES = f'<styleSheet xmlns="{MAIN}"/>'.encode()


def _check_kind(data: bytes, name: str) -> None:
    if data.startswith(OLE):
        if "EncryptedPackage".encode("utf-16-le") in data:
            raise Unreadable(name, "is locked by a password. Save it as .xlsx without one.")
        if "Workbook".encode("utf-16-le") in data:
            raise Unreadable(name, "is of the old .xls kind. Save it as .xlsx.")
        raise Unreadable(name, "is encrypted or of the old .xls kind. Save it as .xlsx without a password.")
    if len(data) > MOST_BYTES:
        raise Unreadable(name, f"is larger than {MOST_BYTES >> 20} MB. Save the tables alone as a new workbook.")


def _check_xml(content: bytes, name: str) -> None:
    """UTF-8 without a document type, so that what is searched for in the bytes is what a parser would see."""
    declared = re.match(rb"""\s*<\?xml[^>]*?encoding\s*=\s*["']([^"']*)""", content.removeprefix(b"\xef\xbb\xbf"))
    if content[:2] in (b"\xff\xfe", b"\xfe\xff") or (declared and declared[1].lower() not in (b"utf-8", b"us-ascii")):
        raise Unreadable(name, "is not written in UTF-8 within. Open and save it as .xlsx.")
    if b"<!DOCTYPE" in content or b"<!ENTITY" in content:
        message = "holds a document type, which no spreadsheet program writes. Take it from its maker again."
        raise Unreadable(name, message)


def _joined(folder: str, target: str) -> str:
    parts: list[str] = []
    for piece in PurePosixPath(folder, target).parts:
        if piece == "..":
            parts = parts[:-1]
        elif piece != ".":
            parts.append(piece)
    return "/".join(parts)
