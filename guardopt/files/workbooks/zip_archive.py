"""The archive that a workbook is: unpacked up to a limit, other kinds of file refused, its XML walked through."""

from __future__ import annotations

import io
import zipfile
import zlib
from collections.abc import Callable, Iterator

MOST_BYTES = 100_000_000
"""A workbook may unpack to so many bytes; a scenario of a hundred parts has some 100,000."""

_AT_ONCE = 1 << 20
"""Bytes unpacked at once."""

_COMPRESSED_BEFORE = 30
"""Bytes of a zip member's own header before its name."""


class UnfitWorkbookError(Exception):
    """A workbook that cannot be read, with the reason fit for a person."""


def refuse_other_kinds(content: bytes) -> None:
    """Refuse what is no zip archive, saying what it seems to be.

    Raises
    ------
    UnfitWorkbookError
        It is none.
    """
    if content.startswith(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"):
        # An encrypted .xlsx is wrapped into the container of the old kind, in a stream of this name (MS-OFFCRYPTO).
        if "EncryptedPackage".encode("utf-16-le") in content:
            raise UnfitWorkbookError("is locked with a password; save it without one")
        raise UnfitWorkbookError("is a workbook of the old kind .xls; save it as .xlsx or .ods")
    if not content.startswith(b"PK"):
        raise UnfitWorkbookError("is not a workbook, whatever its name says; save it as .xlsx or .ods")


def unpacked(content: bytes) -> dict[str, bytes]:
    """The XML files of the archive by name; pictures and the like are only counted."""
    members: dict[str, bytes] = {}
    left = MOST_BYTES
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        for info in archive.infolist():
            if info.filename.lower().endswith("vbaproject.bin"):
                raise UnfitWorkbookError("has macros in it; save it as .xlsx or .ods without them")
            if info.flag_bits & 1:
                raise UnfitWorkbookError("is locked with a password; save it without one")
            is_xml = info.filename.endswith((".xml", ".rels"))
            member = bytearray()
            for piece in _inflated(content, info):
                left -= len(piece)
                if left < 0:
                    most = MOST_BYTES // 1_000_000
                    raise UnfitWorkbookError(f"unpacks to more than {most} MB, which no scenario needs")
                if is_xml:
                    member += piece
            if is_xml:
                members[info.filename] = bytes(member)
    if b"encryption-data" in members.get("META-INF/manifest.xml", b""):
        raise UnfitWorkbookError("is locked with a password; save it without one")
    return members


def _inflated(content: bytes, info: zipfile.ZipInfo) -> Iterator[bytes]:
    """One member of the archive piece by piece, unpacked whatever size its header claims."""
    start = info.header_offset
    names = content[start + 26 : start + _COMPRESSED_BEFORE]
    start += _COMPRESSED_BEFORE + int.from_bytes(names[:2], "little") + int.from_bytes(names[2:], "little")
    packed = content[start : start + info.compress_size]
    if info.compress_type == zipfile.ZIP_STORED:
        yield packed
        return
    if info.compress_type != zipfile.ZIP_DEFLATED:
        raise NotImplementedError(f"compression method {info.compress_type}")
    inflater = zlib.decompressobj(-zlib.MAX_WBITS)
    while packed and not inflater.eof:
        yield inflater.decompress(packed, _AT_ONCE)
        packed = inflater.unconsumed_tail


Start = Callable[[str, dict[str, str]], None]


def parse(xml: bytes, start: Start, end: Callable[[str], None], text: Callable[[str], None]) -> None:
    """Walk through XML; names come without their prefix. Nothing outside the text is ever looked up."""
    from xml.parsers import expat

    def local(name: str) -> str:
        return name.rpartition(":")[2]

    def refuse(*_: object) -> None:
        raise ValueError("a document type declaration has no place in a workbook")

    parser = expat.ParserCreate()
    parser.buffer_text = True
    parser.StartElementHandler = lambda name, attributes: start(local(name), attributes)
    parser.EndElementHandler = lambda name: end(local(name))
    parser.CharacterDataHandler = text
    parser.StartDoctypeDeclHandler = refuse
    try:
        parser.Parse(xml, True)
    except expat.ExpatError as error:
        raise ValueError(str(error)) from error
