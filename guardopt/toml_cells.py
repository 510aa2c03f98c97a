"""The text of ``scenario.toml`` as values that know where they came from."""

from __future__ import annotations

import re
import tomllib
from decimal import Decimal

from guardopt.cells import SETTINGS_FILE, Cell, Findings, Row
from guardopt.spelling import number_fault, printable

_SECTION_LINE = re.compile(r"\s*\[\s*([\w-]+)\s*\]")
_KEY_LINE = re.compile(r"""\s*["']?([\w-]+)["']?\s*=""")
_BEFORE_OR_AFTER_VALUE = re.compile(r"^[^=]*=|#.*$")
_TOML_PLACE = re.compile(r"\s*\(at (?:line (\d+), column \d+|end of document)\)")


def parse_settings(text: str, findings: Findings) -> dict[str, Row] | None:
    """Divide the text of ``scenario.toml`` into located values, keeping decimals exactly as written."""
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    if _report_numbers(text, findings):
        return None
    try:
        document = tomllib.loads(text, parse_float=_exact)
    except (ValueError, RecursionError) as error:
        _report_syntax(text, str(error), findings)
        return None
    if not document:
        findings.error(SETTINGS_FILE, "is empty")
        return None
    lines = _lines_of_keys(text)
    loose = {key: value for key, value in document.items() if not isinstance(value, dict)}
    sections = {"": loose} | {key: value for key, value in document.items() if isinstance(value, dict)}
    rows: dict[str, Row] = {}
    for name, values in sections.items():
        prefix = f"[{printable(name)}] " if name else ""
        cells = {
            key: Cell(value, f"{_settings_place(lines.get((name, key)))}, {prefix}{printable(key)}")
            for key, value in values.items()
        }
        rows[name] = Row(_settings_place(lines.get((name, ""))), prefix, cells)
    return rows


def _exact(text: str) -> Decimal:
    try:
        return Decimal(text)
    except ArithmeticError:
        return Decimal("Infinity")


def _settings_place(line: int | None) -> str:
    return SETTINGS_FILE if line is None else f"{SETTINGS_FILE}, line {line}"


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


def _report_numbers(text: str, findings: Findings) -> bool:
    """Name every value that is a number in a notation that TOML has not; whether there is one."""
    faults = {
        number: fault
        for number, line in enumerate(text.split("\n"), start=1)
        if _KEY_LINE.match(line) and (fault := number_fault(_BEFORE_OR_AFTER_VALUE.sub("", line).strip()))
    }
    for number, fault in faults.items():
        findings.error(_settings_place(number), f"cannot be read: it has {fault}")
    return bool(faults)


def _report_syntax(text: str, message: str, findings: Findings) -> None:
    place = _TOML_PLACE.search(message)
    number = int(place[1]) if place and place[1] else None
    line = text.split("\n")[number - 1] if number else ""
    plain = _TOML_PLACE.sub("", message)
    reason = f"{plain[:1].lower()}{plain[1:]}" if place else "a value in it is too large or too deep"
    if message.startswith("Cannot "):
        reason = "a key or a table is there twice"
    elif re.search(r"=\s*[^\W\d]", line) and message.startswith("Invalid value"):
        reason = 'text has to be in quotation marks, "like this"'
    findings.error(_settings_place(number), f"cannot be read: {reason}")
