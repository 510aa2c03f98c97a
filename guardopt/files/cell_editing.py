"""Editing single cells in the text of a CSV file; every other character stays as it was."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

from guardopt.files.spreadsheet_safety import unsafe

_QUOTED = re.compile(r' *"(?:[^"]|"")*"')


@dataclass(frozen=True, slots=True)
class _Record:
    """One record of the file: the line it starts on, where its cells are, and whether there is anything in them."""

    line: int
    cells: tuple[tuple[int, int], ...]
    end: int
    is_blank: bool


class CsvText:
    """The text of a CSV file with a line of column names, to be changed cell by cell.

    Parameters
    ----------
    text
        The whole file, without a byte-order mark. It is known to be sound: a scenario was read from it.
    """

    def __init__(self, text: str) -> None:
        self._text = text
        self._separator = separator_of(text)
        self._records = {record.line: record for record in self._divided() if not record.is_blank}
        self._header = next(iter(self._records.values()))
        self._columns = [self._plain(span) for span in self._header.cells]
        while self._columns and not self._columns[-1]:
            self._columns.pop()
        self._changes: dict[tuple[int, int], str] = {}

    def set(self, line: int, column: str, value: str) -> None:
        """Put a value into the record that starts on a line; a column that is not there yet is added at the end."""
        if column not in self._columns:
            self._columns.append(column)
            self._changes[self._header.line, len(self._columns) - 1] = column
        self._changes[line, self._columns.index(column)] = value

    def text(self) -> str:
        """The file with all changes made."""
        pieces: list[str] = []
        done = 0
        for record in self._records.values():
            changes = {column: value for (line, column), value in self._changes.items() if line == record.line}
            for column, (start, end) in enumerate(record.cells):
                if column in changes:
                    pieces += [self._text[done:start], self._like(start, end, changes[column])]
                    done = end
            beyond = max(changes, default=-1)
            if beyond >= len(record.cells):
                pieces.append(self._text[done : record.end])
                done = record.end
                for column in range(len(record.cells), beyond + 1):
                    pieces += [self._separator, changes.get(column, "")]
        return "".join([*pieces, self._text[done:]])

    def _like(self, start: int, end: int, value: str) -> str:
        """A value with the blanks and quotation marks of the cell whose place it takes."""
        old = self._text[start:end]
        bare = old.strip()
        lead = old[: len(old) - len(old.lstrip())]
        tail = old[len(old.rstrip()) :] if bare else ""
        return f'{lead}"{value}"{tail}' if bare.startswith('"') else f"{lead}{value}{tail}"

    def _plain(self, span: tuple[int, int]) -> str:
        cell = self._text[slice(*span)].strip()
        plain = cell[1:-1].replace('""', '"').strip() if cell.startswith('"') else cell
        return unsafe(unicodedata.normalize("NFC", plain))

    def _divided(self) -> list[_Record]:
        records: list[_Record] = []
        at, line = 0, 1
        while at < len(self._text):
            start_line, cells = line, []
            while True:
                quoted = _QUOTED.match(self._text, at)
                end = quoted.end() if quoted else self._end_of_bare(at)
                cells.append((at, end))
                line += len(re.findall(r"\r\n|\r|\n", self._text[at:end]))
                at = end
                if self._text[at : at + 1] != self._separator:
                    break
                at += 1
            blank = not any(self._plain(span) for span in cells)
            records.append(_Record(start_line, tuple(cells), at, blank))
            at += 2 if self._text[at : at + 2] == "\r\n" else 1
            line += 1
        return records

    def _end_of_bare(self, at: int) -> int:
        while at < len(self._text) and self._text[at] not in (self._separator, "\r", "\n"):
            at += 1
        return at


def separator_of(text: str) -> str:
    """Semicolon or comma, whichever there is more of in the first line that holds anything, quoted cells aside."""
    first = re.sub(r'"[^"]*"', "", next((line for line in text.splitlines() if line.strip(' \t,;"')), ""))
    return ";" if first.count(";") > first.count(",") else ","
