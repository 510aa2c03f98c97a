"""Where a scenario is read from: a folder of files or a workbook of sheets. Both give the same located cells."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from guardopt.errors import InputError, Place, Problem
from guardopt.files.cells import SETTINGS_FILE, Findings, Row
from guardopt.files.limits import MOST_BYTES, MOST_SETTINGS_BYTES, read_whole
from guardopt.files.tables import BESIDE_A_SCENARIO, OPTIONAL_TABLES, READING_ORDER, TABLES, Table, parse_table
from guardopt.files.toml_cells import parse_settings
from guardopt.spelling import escaped, nearest, printable

WORKBOOK_ENDINGS = (".xlsx", ".ods")
_RELATED_ENDINGS = (*WORKBOOK_ENDINGS, ".xls", ".xlsm", ".csv", ".txt", ".tsv", ".toml", ".numbers")


def is_workbook_name(path: Path) -> bool:
    """Whether a name is that of a workbook."""
    return path.suffix.lower() in WORKBOOK_ENDINGS


def _is_workbook(path: Path) -> bool:
    """Whether a file is to be read as a workbook: by its name, or, where it has no ending, by how it begins."""
    if not path.is_file() or (path.suffix and not is_workbook_name(path)):
        return False
    if path.suffix:
        return True
    with path.open("rb") as file:
        return file.read(4) == b"PK\x03\x04"


class Source(Protocol):
    """Something that tables can be read from."""

    @property
    def is_workbook(self) -> bool:
        """Whether the tables are sheets."""

    def table(
        self, name: str, findings: Findings, *, is_optional: bool = False, may_be_empty: bool = False
    ) -> Table | None:
        """The table of this name, or None, and a problem noted, if it is not there or cannot be read."""

    def settings(self, findings: Findings) -> Mapping[str, Row] | None:
        """The settings by table; keys outside any table are under the empty name."""


@dataclass(frozen=True, slots=True)
class Sheets:
    """A scenario as found. A table that is missing or cannot be read is None.

    Attributes
    ----------
    settings
        The tables of the settings by name; keys outside any table are under the empty name.
    tables
        Tables by name.
    is_workbook
        Whether the tables are sheets.
    """

    settings: Mapping[str, Row] | None
    tables: Mapping[str, Table | None]
    is_workbook: bool = False


def read_sheets(source: Source, findings: Findings) -> Sheets:
    """Read every table of a scenario."""
    settings = source.settings(findings)
    tables = {
        name: source.table(name, findings, is_optional=name in OPTIONAL_TABLES, may_be_empty=name in OPTIONAL_TABLES)
        for name in TABLES
    }
    return Sheets(settings, tables, source.is_workbook)


def source_of(path: Path, expected: str = "the folder or workbook of a scenario") -> Source:
    """The folder or workbook at a path.

    Raises
    ------
    InputError
        There is none, or the workbook cannot be read.
    """
    if path.is_dir():
        return Folder(path)
    where = escaped(str(path))
    if _is_workbook(path):
        from guardopt.files.workbooks.reading import open_workbook

        return open_workbook(path)
    if not path.exists():
        message = "no such workbook" if is_workbook_name(path) else "no such folder"
    elif path.suffix.lower() in (".xls", ".xlsm", ".xlsb", ".numbers"):
        message = f"is a workbook of a kind that is not read; save it as {' or '.join(WORKBOOK_ENDINGS)}"
    elif path.name in READING_ORDER:
        message = f"is one file of a scenario, expected its folder, {escaped(str(path.parent))}"
    else:
        message = f"is a file, expected {expected}"
    raise InputError([Problem(where, message)])


def files_of(path: Path, *beside: str) -> list[Path]:
    """The files that a scenario is read from, with further tables beside it: those of its folder, or the workbook."""
    if not path.is_dir():
        return [path]
    return [path / name for name in (*READING_ORDER, *(f"{name}.csv" for name in beside))]


@dataclass(frozen=True, slots=True)
class Folder:
    """A folder with ``scenario.toml`` and CSV files."""

    path: Path

    @property
    def is_workbook(self) -> bool:
        """Never."""
        return False

    def table(
        self, name: str, findings: Findings, *, is_optional: bool = False, may_be_empty: bool = False
    ) -> Table | None:
        """See `Source`."""
        text = read_text(self.path, f"{name}.csv", findings, is_required=not is_optional)
        return None if text is None else parse_table(f"{name}.csv", text, findings, is_required=not may_be_empty)

    def settings(self, findings: Findings) -> Mapping[str, Row] | None:
        """See `Source`."""
        text = read_text(self.path, SETTINGS_FILE, findings)
        return None if text is None else parse_settings(text, findings)


def read_text(folder: Path, file: str, findings: Findings, *, is_required: bool = True) -> str | None:
    """The text of a file, or None if it is not there or is not text; an optional file may be missing."""
    try:
        content = read_whole(folder / file, MOST_SETTINGS_BYTES if file == SETTINGS_FILE else MOST_BYTES)
    except FileNotFoundError:
        _tell_what_lies_beside(folder, file, findings, is_required=is_required)
        return None
    except OSError as error:
        findings.error(Place(file), f"cannot be read: {(error.strerror or str(error)).lower()}")
        return None
    if content.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")):
        message = f"is a workbook under the name of a text file; open it in a spreadsheet and save it as {file}"
        findings.error(Place(file), message if file.endswith(".csv") else "is a workbook under the name of a text file")
        return None
    text = _decoded(file, content, findings)
    # Composed and decomposed accents look the same, so ids typed on different machines have to compare equal.
    return None if text is None else unicodedata.normalize("NFC", text)


def text_of(content: bytes) -> str:
    """The text of a file that has been read without a problem."""
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("windows-1252")


def _decoded(file: str, content: bytes, findings: Findings) -> str | None:
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        findings.error(Place(file), "is not UTF-8 text; save the file with the encoding UTF-8")
        return None
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        place = Place(file, content.count(b"\n", 0, error.start) + 1)
    try:
        text = content.decode("windows-1252")
    except UnicodeDecodeError:
        findings.error(place, "is not UTF-8 text; save the file with the encoding UTF-8")
        return None
    if not all(letter.isprintable() or letter in "\t\r\n" for letter in text):
        findings.error(place, "is not UTF-8 text; save the file with the encoding UTF-8")
        return None
    first = text.split("\n")[(place.line or 1) - 1].strip()
    findings.warn(place, f"is not UTF-8 text, taken as Windows-1252: {printable(first)}")
    return text


def _tell_what_lies_beside(folder: Path, file: str, findings: Findings, *, is_required: bool) -> None:
    """Say that a file is missing, and which one may have been meant for it."""
    known = {*READING_ORDER, *BESIDE_A_SCENARIO}
    names = sorted(path.name for path in folder.iterdir() if path.name not in known)
    stem = Path(file).stem
    renamed = [name for name in names if _is_related(name, stem)]
    close = nearest(stem, others := {Path(name).stem: name for name in names if name.endswith(Path(file).suffix)})
    if renamed and is_required:
        hint = f"{printable(renamed[0])} lies there instead; save it as {file}"
        findings.error(Place(file), f"no such file in the folder; {hint}")
    elif renamed:
        findings.warn(Place(printable(renamed[0])), f"is not read; save it as {file}")
    elif not is_required:
        if close:
            findings.warn(Place(printable(others[close])), f"is not read; did you mean {file}?")
    elif close:
        findings.error(Place(file), f"no such file in the folder; {printable(others[close])} looks like it")
    else:
        books = [name for name in names if name.lower().endswith(WORKBOOK_ENDINGS) and not name.startswith("~$")]
        is_book = file == SETTINGS_FILE and books
        hint = f"; to read {printable(books[0])}, name it behind the folder" if is_book else ""
        findings.error(Place(file), f"no such file in the folder{hint}")


def _is_related(name: str, stem: str) -> bool:
    """Whether a file is called like a table, with another ending or in other letters: ``parts.xlsx``, ``Parts.CSV``."""
    bare = name.casefold()
    while any(bare.endswith(ending) for ending in _RELATED_ENDINGS):
        bare = bare.rpartition(".")[0]
    return bare == stem and name.casefold() != stem
