"""A plan's proof as a file: what it has to hold, and the seal that shows accidental change.

One JSON object. `question` is what was asked; `kit`, `objective` and `bound` the answer; `columns` the costs that the
kit decides, each between a floor and a ceiling; `rows` linear inequalities that every allowed kit keeps; `tree` the
cases that were told apart, one guard or offer at a time, each leaf with multipliers of the rows that prove its bound.

The seal is a digest of the rest. It is there against accidents, not against intent: whoever changes a number can seal
the file anew, and then the arithmetic of the audit has to find it.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from guardopt.errors import InputError, Problem

FORMAT = "guardopt-proof-1"

Number = Annotated[float, Field(allow_inf_nan=False)]

MANY_FAULTS = 5
"""Faults of the form that are named; a file that is no proof has hundreds."""


class _Strict(BaseModel):
    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)


class Asked(_Strict):
    """The question: the best kit for an aim, money in whole cents, on so many simulated falls of this seed."""

    aim: Literal["bills", "outlay", "worst"]
    budget_cents: int | None
    must: list[str]
    never: list[str]
    tail: Annotated[float, Field(gt=0.0, le=1.0)]
    seed: Annotated[int, Field(ge=0)]
    falls: Annotated[int, Field(ge=1, le=1_000_000)]
    gap: Annotated[float, Field(ge=0.0, allow_inf_nan=False)]
    guards: list[str]
    offers: list[str]


class Column(_Strict):
    """A cost that the kit decides. One of falls kept apart says which: a kind of fall and an interval of bare bills."""

    floor: Number
    ceiling: Number
    floor_budget_cents: int | None = None
    fall: str | None = None
    bare_from: Number | None = None
    bare_below: Number | None = None


class StatedRow(_Strict):
    """Σ x + Σ y + Σ theta ≤ at_most; of a cut also where it was found, for which budget, with which guards off."""

    kind: Literal["budget", "weight", "place", "need", "not_with", "offer", "cut"]
    x: dict[str, Number] = {}
    y: dict[str, Number] = {}
    theta: dict[str, Number] = {}
    at_most: Number
    at: dict[str, Number] = {}
    budget_cents: int | None = None
    off: list[str] = []


class StatedLeaf(_Strict):
    """Multipliers by row number that prove a bound, or that nothing is in this case."""

    multipliers: dict[str, Annotated[float, Field(ge=0.0, allow_inf_nan=False)]]
    bound: Number | None = None
    empty: bool = False


class Branch(_Strict):
    """One guard or offer, and what follows with it off and on; or a leaf."""

    branch: str | None = None
    off: Branch | None = None
    on: Branch | None = None
    leaf: StatedLeaf | None = None


class Proof(_Strict):
    """What a file has to hold."""

    format: Literal["guardopt-proof-1"]
    question: Asked
    kit: list[str]
    objective: Number
    bound: Number
    columns: dict[str, Column]
    rows: list[StatedRow]
    tree: Branch
    seal: str


def seal_of(content: Mapping[str, Any]) -> str:
    """The digest of a proof's content, the seal itself left out."""
    rest = {key: value for key, value in content.items() if key != "seal"}
    written = json.dumps(rest, sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    return hashlib.sha256(written.encode()).hexdigest()


def sealed(content: Mapping[str, Any]) -> dict[str, Any]:
    """The same content with its seal."""
    return {**content, "seal": seal_of(content)}


def read_proof(text: str, where: str) -> tuple[Proof, bool]:
    """Read a proof, and whether its seal is whole.

    Parameters
    ----------
    text
        What the file holds.
    where
        What the file is called, to be quoted.

    Raises
    ------
    InputError
        It is no proof.
    """
    try:
        content = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise InputError([Problem(where, "is no JSON, expected a proof written by plan --proof")]) from error
    if not isinstance(content, dict) or content.get("format") != FORMAT:
        raise InputError([Problem(where, "is no proof, expected a file written by plan --proof")])
    try:
        proof = Proof.model_validate(content)
    except (ValidationError, RecursionError, OverflowError) as error:
        raise InputError(_faults(error, where)) from error
    return proof, proof.seal == seal_of(content)


def _faults(error: Exception, where: str) -> list[Problem]:
    if not isinstance(error, ValidationError):
        return [Problem(where, "its tree is deeper, or a number in it larger, than any proof's")]
    found = [
        Problem(f"{where}, {'.'.join(str(step) for step in one['loc'])}", one["msg"][:1].lower() + one["msg"][1:])
        for one in error.errors(include_url=False)
    ]
    more = len(found) - MANY_FAULTS
    return found[:MANY_FAULTS] + ([Problem(where, f"and {more} more such faults")] if more > 0 else [])
