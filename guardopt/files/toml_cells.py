"""The text of ``scenario.toml``, or of another file of settings, as values that know where they came from."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Container, Sequence
from decimal import Decimal
from typing import Any

from guardopt.errors import Place
from guardopt.files.cells import SETTINGS_FILE, Cell, Findings, Row
from guardopt.files.limits import settings_fault
from guardopt.number_faults import number_fault
from guardopt.spelling import printable

_SECTION_LINE = re.compile(r"\s*\[\s*([\w-]+)\s*\]")
_KEY_LINE = re.compile(r"""\s*["']?([\w-]+)["']?\s*=""")
_BEFORE_OR_AFTER_VALUE = re.compile(r"^[^=]*=|#.*$")
_CURLY_QUOTES = re.compile("[“”„‟‘’‚«»]")
_TWICE = "Cannot "
_TOML_PLACE = re.compile(r"\s*\(at (?:line (\d+), column \d+|end of document)\)")


MOST_SYNTAX_ERRORS = 20
"""So many values that cannot be read are told in one run, besides numbers and quotation marks that are recognised."""


def parse_settings(text: str, findings: Findings) -> dict[str, Row] | None:
    """Divide the text of ``scenario.toml`` into located values, keeping decimals exactly as written."""
    tables = parse_tables(SETTINGS_FILE, text, findings)
    if tables == {}:
        findings.error(Place(SETTINGS_FILE), "is empty")
        return None
    return tables


def parse_tables(file: str, text: str, findings: Findings) -> dict[str, Row] | None:
    """Divide a file of settings into its tables; None, and problems noted, if it cannot be read.

    Keys above the first table stand in one without a name, which is there in every file that is not empty. A value that
    cannot be read is a refused cell, so that what else is wrong in the file is told in the same run.
    """
    text = _with_plain_ends(text)
    refused: set[int] = set()
    document = _parse_toml(file, text, refused, findings)
    if not document:
        return None if document is None else {}
    lines, written = _lines_of_keys(text), text.split("\n")
    loose = {key: value for key, value in document.items() if not isinstance(value, dict)}
    sections = {"": loose} | {key: value for key, value in document.items() if isinstance(value, dict)}
    rows: dict[str, Row] = {}
    for name, values in sections.items():
        prefix = f"[{printable(name)}] " if name else ""
        cells: dict[str, Cell] = {}
        for key, value in values.items():
            line = lines.get((name, key))
            place = Place(file, line, f"{prefix}{printable(key)}")
            is_refused = line in refused
            cells[key] = Cell(
                _value_text(written[line - 1]) if line and is_refused else value, place, False, is_refused
            )
        rows[name] = Row(Place(file, lines.get((name, ""))), prefix, cells)
    return rows


def _parse_toml(file: str, text: str, refused: set[int], findings: Findings) -> dict[str, Any] | None:
    """What a file of settings says; None, and problems noted, if it cannot be read.

    Lines whose value cannot be read are reported, noted as refused, and read as if it were blank.
    """
    if fault := settings_fault(text):
        findings.error(Place(file, fault[0]), f"cannot be read: {fault[1]}")
        return None
    lines = text.split("\n")
    refused |= _report_quotes(file, lines, findings)
    refused |= _report_numbers(file, lines, refused, findings)
    for number in refused:
        lines[number - 1] = _blanked(lines[number - 1])
    for _ in range(MOST_SYNTAX_ERRORS):
        try:
            return tomllib.loads("\n".join(lines), parse_float=_exact)
        except (ValueError, RecursionError) as error:
            message = str(error)
            place = _TOML_PLACE.search(message)
            number = int(place[1]) if place and place[1] else 0
            if number not in refused:
                _report_syntax(file, lines, number, message, findings)
            if number == 0 or number in refused or message.startswith(_TWICE) or not _KEY_LINE.match(lines[number - 1]):
                break
            refused.add(number)
            lines[number - 1] = _blanked(lines[number - 1])
    return None


def _blanked(line: str) -> str:
    """The line of a key, its value blank."""
    key = _KEY_LINE.match(line)
    return f'{key[0] if key else ""} ""'


def _value_text(line: str) -> str:
    """What stands behind the key, without a comment."""
    return _BEFORE_OR_AFTER_VALUE.sub("", line).strip()


def _with_plain_ends(text: str) -> str:
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _exact(text: str) -> Decimal:
    try:
        return Decimal(text)
    except ArithmeticError:
        return Decimal("Infinity")


def _lines_of_keys(text: str) -> dict[tuple[str, str], int]:
    """The line of each table (with an empty key) and of each key in it, as far as a look at line starts can tell."""
    lines: dict[tuple[str, str], int] = {}
    section = ""
    for number, line in enumerate(text.split("\n"), start=1):
        if match := _SECTION_LINE.match(line):
            section = match[1]
            lines.setdefault((section, ""), number)
        elif match := _KEY_LINE.match(line):
            lines.setdefault((section, match[1]), number)
    return lines


def _report_numbers(file: str, lines: Sequence[str], known: Container[int], findings: Findings) -> set[int]:
    """Name every value that is a number in a notation that TOML has not, but in the known lines; the lines of them."""
    faults = {
        number: fault
        for number, line in enumerate(lines, start=1)
        if number not in known and _KEY_LINE.match(line) and (fault := number_fault(_value_text(line)))
    }
    for number, fault in faults.items():
        findings.error(Place(file, number), f"cannot be read: it has {fault}")
    return {*faults}


def _report_syntax(file: str, lines: Sequence[str], number: int, message: str, findings: Findings) -> None:
    reason = "a value in it is too large or too deep"
    if _TOML_PLACE.search(message):
        reason = _reason(_TOML_PLACE.sub("", message), lines[number - 1] if number else "")
    findings.error(Place(file, number or None), f"cannot be read: {reason}")


def _reason(message: str, line: str) -> str:
    """What is wrong with a line of the settings, in other words than those of the TOML library where it has none."""
    if message.startswith(_TWICE):
        return "a key or a table is there twice"
    if message.startswith("Invalid value"):
        if re.search(r"=\s*[^\W\d]", line):
            return 'expected a number, or text in quotation marks, "like this"'
        if re.search(r"=\s*(?:#|$)", line):
            return "nothing stands behind the =; leave the line out for the default"
    if message.startswith("Expected '=' after a key"):
        return "a key and its value are joined by =, as in years = 3; the name of a table stands in brackets, [owner]"
    if message.startswith("Illegal character '\\n'"):
        return "a quotation mark is missing at the end of the text"
    if message.startswith("Expected newline or end of document"):
        if re.search(r"=\s*[+-]?0[0-9]", line):
            return "a number does not begin with 0"
        return "something stands behind the value; a comment begins with #"
    return f"{message[:1].lower()}{message[1:]}"


def _report_quotes(file: str, lines: Sequence[str], findings: Findings) -> set[int]:
    """Name every value in quotation marks that are not straight, as word processors make them; the lines of them."""
    curly = {
        number
        for number, line in enumerate(lines, start=1)
        if _KEY_LINE.match(line) and _CURLY_QUOTES.match(_value_text(line))
    }
    for number in sorted(curly):
        message = 'cannot be read: it has curly quotation marks; write straight ones, "like this"'
        findings.error(Place(file, number), message)
    return curly
