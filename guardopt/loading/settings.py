"""What ``scenario.toml`` says: the bike, its owner, labour, insurance and the size of the sample."""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from guardopt.errors import Place
from guardopt.files.cell_types import (
    Amount,
    Chance,
    ExactMoney,
    Height,
    Hours,
    Id,
    Millimetres,
    Money,
    Positive,
    Rate,
    SampleSize,
    Seed,
    Text,
    WriteOffShare,
)
from guardopt.files.cells import SETTINGS_FILE, Cell, Findings, Row
from guardopt.loading.meaning.row_checking import Model, RowModel, validate
from guardopt.model.chance_words import CHANCE_WORDS, chance_word
from guardopt.spelling import advice, nearest, printable, shown


class Heading(RowModel):
    """The keys of ``scenario.toml`` above its tables."""

    title: Text
    currency: Text


class Bike(RowModel):
    """The table ``[bike]``."""

    value: Money
    salvage: Money = 0.0


class Owner(RowModel):
    """The table ``[owner]``."""

    years: Positive
    discount_rate: Rate = 0.0
    budget: ExactMoney | None = None
    max_weight_kg: Amount | None = None
    repair_every: Positive = 1.0
    day_without: Money = 0.0
    recovery: Money = 0.0


class Labour(RowModel):
    """The table ``[labour]``."""

    repair_rate: Money = 0.0
    fitting_rate: ExactMoney = Decimal(0)


class InsuranceTerms(RowModel):
    """The table ``[insurance]``."""

    excess: Money
    premium_rise: Money = 0.0
    write_off_share: WriteOffShare = 1.0


class StripDownKey(RowModel):
    """One key of the table ``[strip_down]``."""

    group: Id
    hours: Hours


class WordKey(RowModel):
    """One key of the table ``[words]``."""

    word: Text
    chance: Chance


class Shape(RowModel):
    """The table ``[shape]``."""

    centre_forward: Millimetres
    centre_up: Height


class Sampling(RowModel):
    """The table ``[sampling]``."""

    falls: SampleSize = 4000
    seed: Seed = 1


SECTIONS: Mapping[str, type[RowModel]] = {
    "": Heading,
    "bike": Bike,
    "owner": Owner,
    "labour": Labour,
    "insurance": InsuranceTerms,
    "sampling": Sampling,
    "shape": Shape,
}
"""The tables of ``scenario.toml`` whose keys are fixed."""

FREE_SECTIONS = ("strip_down", "words")
"""The tables of ``scenario.toml`` whose keys are the user's own: groups of parts, and words for chances."""


@dataclass(frozen=True, slots=True)
class Settings:
    """The tables of ``scenario.toml``; one with something wrong in it is None, and so is one that may be left out.

    Attributes
    ----------
    strip_down
        Hours to reach each group of parts.
    groups
        The names of the groups, those with wrong hours included; None if the file could not be read.
    """

    heading: Heading | None = None
    bike: Bike | None = None
    owner: Owner | None = None
    labour: Labour | None = None
    insurance: InsuranceTerms | None = None
    strip_down: Mapping[str, float] | None = None
    groups: tuple[str, ...] | None = None
    sampling: Sampling | None = None
    shape: Shape | None = None


def read_settings(sections: Mapping[str, Row] | None, findings: Findings) -> Settings:
    """Check ``scenario.toml`` table by table."""
    findings.words = words_in(sections, findings)
    if sections is None:
        return Settings()
    for name, row in sections.items():
        if name in SECTIONS:
            check_keys(name, row, sections, findings)
        elif name not in FREE_SECTIONS:
            known = [*(one for one in SECTIONS if one), *FREE_SECTIONS]
            # A what-if, which stands in no line, may mean a table that is there.
            hint = advice(name, known, None if row.place.line is None else _unused(known, sections))
            findings.error(row.place, f"unknown table [{printable(name)}]{hint}")

    # What is missing only because its name is misspelt, or because it is not a table, has been reported as that.
    loose = sections[""].cells
    misspelt = {nearest(name, _unused(SECTIONS, sections)) for name in sections if name not in SECTIONS}

    def read(name: str, model: type[Model]) -> Model | None:
        row = sections.get(name, _absent(name, sections))
        unused = _unused(model.model_fields, row.cells)
        reported = {nearest(key, unused) for key in row.cells if key not in model.model_fields}
        if name in misspelt or name in loose:
            reported |= model.model_fields.keys()
        return validate(row, model, findings, reported)

    bike = read("bike", Bike)
    if bike is not None and bike.salvage > bike.value:
        message = f"found {bike.salvage:g}, expected at most the value of the sound bike, {bike.value:g}"
        findings.error(sections["bike"].where("salvage"), message)
    strip_down_row = sections.get("strip_down", _absent("strip_down", sections))
    return Settings(
        heading=read("", Heading),
        bike=bike,
        owner=read("owner", Owner),
        labour=read("labour", Labour),
        insurance=read("insurance", InsuranceTerms) if "insurance" in sections else None,
        strip_down=strip_down_of(strip_down_row, findings),
        groups=tuple(group for group, cell in strip_down_row.cells.items() if cell.value != "" or cell.is_refused),
        sampling=read("sampling", Sampling),
        shape=read("shape", Shape) if "shape" in sections else None,
    )


def check_keys(name: str, row: Row, sections: Mapping[str, Row], findings: Findings) -> None:
    """Report keys of one table that nothing reads, with the place or spelling they may have been meant for."""
    fields = SECTIONS[name].model_fields
    unused = _unused(fields, row.cells)
    for key in row.cells:
        if key in fields:
            continue
        if not name and (key in SECTIONS or key in FREE_SECTIONS):
            findings.error(row.where(key), f"found {shown(row.cells[key].value)}, expected a table [{key}]")
            continue
        home = next((one for one, model in SECTIONS.items() if key in model.model_fields), None)
        if home is None or nearest(key, unused):
            hint = advice(key, fields, None if row.cells[key].where.line is None else unused)
        else:
            hint = f"; it belongs in the table [{home}]" if home else "; it belongs above the first table"
        findings.error(row.where(key), f"unknown key{hint}")


def _absent(name: str, sections: Mapping[str, Row]) -> Row:
    """A table of the settings that is not there, with places like those of the others."""
    source = sections[""].place.source if "" in sections else SETTINGS_FILE
    return Row(Place(source), section_prefix(name, source), {})


def section_prefix(name: str, source: str) -> str:
    """What stands before a key when a message names it: its table, as the settings themselves write it."""
    if not name:
        return ""
    return f"[{printable(name)}] " if source == SETTINGS_FILE else f"{printable(name)}."


def _unused(known: Iterable[str], found: Container[str]) -> list[str]:
    return [name for name in known if name not in found]


def strip_down_of(row: Row, findings: Findings) -> dict[str, float]:
    """Hours to reach each group of parts."""
    hours: dict[str, float] = {}
    for group, cell in row.cells.items():
        if cell.value == "":
            continue
        key = Row(cell.where, "", {"group": Cell(group, cell.where), "hours": cell})
        values = validate(key, StripDownKey, findings)
        if values is not None:
            hours[group] = values.hours
    return hours


def words_in(sections: Mapping[str, Row] | None, findings: Findings) -> dict[str, float]:
    """The words that chances may be written in, with what they stand for: the usual ones, and what the settings say."""
    return {**CHANCE_WORDS, **_words_of((sections or {}).get("words"), findings)}


def _words_of(row: Row | None, findings: Findings) -> dict[str, float]:
    """What words stand for where the settings say so themselves."""
    words: dict[str, float] = {}
    for word, cell in () if row is None else row.cells.items():
        if cell.value == "":
            continue
        key = Row(cell.where, "", {"word": Cell(word, cell.where), "chance": cell})
        values = validate(key, WordKey, findings)
        if values is not None:
            words[chance_word(word)] = values.chance
    return words
