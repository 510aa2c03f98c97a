"""The text of ``scenario.toml``, or of another file of settings, as values that know where they came from."""

from __future__ import annotations

import re
import tomllib
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
_TOML_PLACE = re.compile(r"\s*\(at (?:line (\d+), column \d+|end of document)\)")


def parse_settings(text: str, findings: Findings) -> dict[str, Row] | None:
    """Divide the text of ``scenario.toml`` into located values, keeping decimals exactly as written."""
    tables = parse_tables(SETTINGS_FILE, text, findings)
    if tables == {}:
        findings.error(Place(SETTINGS_FILE), "is empty")
        return None
    return tables


def parse_tables(file: str, text: str, findings: Findings) -> dict[str, Row] | None:
    """Divide a file of settings into its tables; None, and problems noted, if it cannot be read.

    Keys above the first table stand in one without a name, which is there in every file that is not empty.
    """
    document = _parse_toml(file, text, findings)
    if not document:
        return None if document is None else {}
    lines = _lines_of_keys(_with_plain_ends(text))
    loose = {key: value for key, value in document.items() if not isinstance(value, dict)}
    sections = {"": loose} | {key: value for key, value in document.items() if isinstance(value, dict)}
    rows: dict[str, Row] = {}
    for name, values in sections.items():
        prefix = f"[{printable(name)}] " if name else ""
        cells = {
            key: Cell(value, Place(file, lines.get((name, key)), f"{prefix}{printable(key)}"))
            for key, value in values.items()
        }
        rows[name] = Row(Place(file, lines.get((name, ""))), prefix, cells)
    return rows


def _parse_toml(file: str, text: str, findings: Findings) -> dict[str, Any] | None:
    """What a file of settings says; None, and problems noted, if it cannot be read."""
    text = _with_plain_ends(text)
    if fault := settings_fault(text):
        findings.error(Place(file, fault[0]), f"cannot be read: {fault[1]}")
        return None
    if _report_quotes(file, text, findings) or _report_numbers(file, text, findings):
        return None
    try:
        return tomllib.loads(text, parse_float=_exact)
    except (ValueError, RecursionError) as error:
        _report_syntax(file, text, str(error), findings)
        return None


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


def _report_numbers(file: str, text: str, findings: Findings) -> bool:
    """Name every value that is a number in a notation that TOML has not; whether there is one."""
    faults = {
        number: fault
        for number, line in enumerate(text.split("\n"), start=1)
        if _KEY_LINE.match(line) and (fault := number_fault(_BEFORE_OR_AFTER_VALUE.sub("", line).strip()))
    }
    for number, fault in faults.items():
        findings.error(Place(file, number), f"cannot be read: it has {fault}")
    return bool(faults)


def _report_syntax(file: str, text: str, message: str, findings: Findings) -> None:
    place = _TOML_PLACE.search(message)
    number = int(place[1]) if place and place[1] else None
    line = text.split("\n")[number - 1] if number else ""
    plain = _TOML_PLACE.sub("", message)
    reason = _reason(plain, line) if place else "a value in it is too large or too deep"
    findings.error(Place(file, number), f"cannot be read: {reason}")


def _reason(message: str, line: str) -> str:
    """What is wrong with a line of the settings, in other words than those of the TOML library where it has none."""
    if message.startswith("Cannot "):
        return "a key or a table is there twice"
    if message.startswith("Invalid value"):
        if re.search(r"=\s*[^\W\d]", line):
            return 'text has to be in quotation marks, "like this"'
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


def _report_quotes(file: str, text: str, findings: Findings) -> bool:
    """Name every value in quotation marks that are not straight, as word processors make them; whether there is one."""
    lines = [
        number
        for number, line in enumerate(text.split("\n"), start=1)
        if _KEY_LINE.match(line) and _CURLY_QUOTES.match(_BEFORE_OR_AFTER_VALUE.sub("", line).strip())
    ]
    for number in lines:
        message = 'cannot be read: it has curly quotation marks; write straight ones, "like this"'
        findings.error(Place(file, number), message)
    return bool(lines)
