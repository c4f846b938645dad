"""Small files that were made to cost much: what the register was attacked with."""

from __future__ import annotations

import io
import struct
import zipfile
import zlib
from collections.abc import Iterator
from datetime import date, timedelta

SHEET = "xl/worksheets/sheet1.xml"
SPREADSHEET = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
RELATIONSHIPS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
PACKAGE = "http://schemas.openxmlformats.org/package/2006"
PARTS = {
    "[Content_Types].xml": f'<Types xmlns="{PACKAGE}/content-types"><Default Extension="rels" '
    'ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Override PartName="/xl/workbook.xml" '
    'ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/>'
    '<Override PartName="/xl/worksheets/sheet1.xml" '
    'ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"/></Types>',
    "_rels/.rels": f'<Relationships xmlns="{PACKAGE}/relationships"><Relationship Id="r" '
    f'Type="{RELATIONSHIPS}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
    "xl/workbook.xml": f'<workbook xmlns="{SPREADSHEET}" xmlns:r="{RELATIONSHIPS}"><sheets>'
    '<sheet name="One" sheetId="1" r:id="r"/></sheets></workbook>',
    "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{PACKAGE}/relationships"><Relationship Id="r" '
    f'Type="{RELATIONSHIPS}/worksheet" Target="worksheets/sheet1.xml"/></Relationships>',
}


def pdf_of_many_objects(numbers: int = 100_000_000) -> bytes:
    """A PDF whose object stream unpacks to one array of that many numbers (ISO 32000-2, 7.5.7)."""
    packed = zlib.compressobj(9)
    stream = packed.compress(b"5 0 [") + b"".join(_packed(packed, b"0 " * 1000, numbers // 1000))
    stream += packed.compress(b"]") + packed.flush()
    parts = [
        b"1 0 obj<</Type/Catalog/Pages 2 0 R>>endobj\n",
        b"2 0 obj<</Type/Pages/Kids[3 0 R]/Count 1>>endobj\n",
        b"3 0 obj<</Type/Page/Parent 2 0 R/MediaBox[0 0 9 9]>>endobj\n",
        b"4 0 obj<</Type/ObjStm/N 1/First 4/Filter/FlateDecode/Length %d>>stream\n%s\nendstream endobj\n"
        % (len(stream), stream),
    ]
    return _pdf(parts, compressed=[(4, 0)])


def pdf_of_a_long_stream(megabytes: int = 2000) -> bytes:
    """A PDF whose only page unpacks to that much."""
    packed = zlib.compressobj(9)
    stream = b"".join(_packed(packed, b" " * 1024**2, megabytes)) + packed.flush()
    parts = [
        b"1 0 obj<</Type/Catalog/Pages 2 0 R>>endobj\n",
        b"2 0 obj<</Type/Pages/Kids[3 0 R]/Count 1>>endobj\n",
        b"3 0 obj<</Type/Page/Parent 2 0 R/MediaBox[0 0 9 9]/Contents 4 0 R>>endobj\n",
        b"4 0 obj<</Filter/FlateDecode/Length %d>>stream\n%s\nendstream endobj\n" % (len(stream), stream),
    ]
    return _pdf(parts, compressed=[])


def _packed(packer: zlib._Compress, piece: bytes, times: int) -> Iterator[bytes]:
    for _time in range(times):
        yield packer.compress(piece)


def _pdf(parts: list[bytes], *, compressed: list[tuple[int, int]]) -> bytes:
    """The parts as objects 1, 2, ... and a cross-reference stream (ISO 32000-2, 7.5.8)."""
    content, entries = b"%PDF-1.7\n", [struct.pack(">BIH", 0, 0, 65535)]
    for each in parts:
        entries.append(struct.pack(">BIH", 1, len(content), 0))
        content += each
    entries += [struct.pack(">BIH", 2, holder, index) for holder, index in compressed]
    at, number = len(content), len(entries)
    entries.append(struct.pack(">BIH", 1, at, 0))
    table = b"".join(entries)
    size = len(entries)
    head = b"%d 0 obj<</Type/XRef/Size %d/W[1 4 2]/Root 1 0 R/Length %d>>" % (number, size, len(table))
    return content + head + b"stream\n" + table + b"\nendstream endobj\nstartxref\n%d\n%%%%EOF\n" % at


def workbook_of(rows: Iterator[bytes], *, packing: int = zipfile.ZIP_DEFLATED) -> bytes:
    """A workbook whose only sheet has these rows, as they are written."""
    written = io.BytesIO()
    with zipfile.ZipFile(written, "w", packing) as archive:
        for name, part in PARTS.items():
            archive.writestr(name, part)
        with archive.open(SHEET, "w", force_zip64=False) as sheet:
            sheet.write(f'<worksheet xmlns="{SPREADSHEET}"><sheetData>'.encode())
            for each in rows:
                sheet.write(each)
            sheet.write(b"</sheetData></worksheet>")
    return written.getvalue()


def workbook_of_many_cells(rows: int = 19_000, columns: int = 200) -> bytes:
    """A workbook of a few megabytes that is read for minutes: millions of cells, none of them large."""

    def written() -> Iterator[bytes]:
        yield b'<row r="1">' + b"".join(b'<c t="inlineStr"><is><t>h%d</t></is></c>' % each for each in range(columns))
        yield b"</row>"
        for row in range(2, rows):
            cells = b"".join(b"<c><v>%d</v></c>" % ((row * 7919 + each * 31) % 97) for each in range(columns))
            yield b'<row r="%d">%s</row>' % (row, cells)

    return workbook_of(written())


def png_of_many_pixels(side: int = 60_000) -> bytes:
    """A picture of a few kilobytes that unpacks to more memory than the machine has."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", side, side, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0")) + chunk(b"IEND", b"")


def people_of_one_name(rows: int = 420, *, apart: int = 1) -> str:
    """A table of people who all have one name, born so many days apart."""
    first = date(1950, 1, 1)
    lines = [f"Ann,Lee,{first + timedelta(days=each * apart)},2026-01-05" for each in range(rows)]
    return "\n".join(["given name,family name,born,hired", *lines]) + "\n"
