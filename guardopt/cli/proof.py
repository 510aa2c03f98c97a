"""A plan's proof on the command line: writing it, and checking it again."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from guardopt.cli.options import common, load_scenario, print_json
from guardopt.errors import InputError, Problem

if TYPE_CHECKING:
    from guardopt.questions.bench import Bench
    from guardopt.questions.plan_result import Plan


def check_proof_target(path: Path) -> None:
    """Refuse a place where a proof must not go, before any work is done.

    Raises
    ------
    InputError
        It is a folder, has none to go to, or is there already and no proof.
    """
    from guardopt.proof.format import FORMAT

    problem = None
    if path.is_dir():
        problem = "is a folder, expected a file"
    elif not path.resolve().parent.is_dir():
        problem = "its folder does not exist"
    elif path.exists() and FORMAT.encode() not in _beginning(path):
        problem = "is there already and is no proof; remove it or choose another name"
    if problem is not None:
        raise InputError([Problem("--proof", f"{path} {problem}")])


def _beginning(path: Path) -> bytes:
    """The first bytes of a file; none of what is no file or cannot be read."""
    from guardopt.files.limits import open_file

    try:
        handle = open_file(path)
    except OSError:
        return b""
    try:
        return os.read(handle, 100)
    finally:
        os.close(handle)


def write_proof(path: Path, bench: Bench, made: Plan, must: Sequence[str], never: Sequence[str], gap: float) -> None:
    """Write the proof that a plan's kit is best.

    Raises
    ------
    OutOfTimeError
        The kit is not proven best.
    """
    import json

    from guardopt.errors import OutOfTimeError
    from guardopt.files.whole_file import write_file
    from guardopt.model.aims import Limits
    from guardopt.proof.writing import proof_of

    if not made.best.proven:
        raise OutOfTimeError("the kit is not proven best, so there is no proof to write")
    limits = Limits(made.budget_cents, made.scenario.expand(must), made.scenario.expand(never))
    proof = proof_of(bench.planner, made.aim, limits, made.best, tail=made.tail, gap=gap)
    text = json.dumps(proof, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    write_file(text.encode(), path, f"--proof {path}", replace=True)


@click.command()
@common
@click.argument("proof", type=click.Path(path_type=Path), metavar="FILE")
@click.pass_context
def audit(
    context: click.Context,
    scenario: Path,
    as_json: bool,
    changes: Sequence[str],
    seed: int | None,
    falls: int | None,
    proof: Path,
) -> None:
    """Check a plan's proof again, in exact arithmetic.

    FILE was written by "plan --proof" for the same scenario, with the same
    --change. Seed and number of falls are those that the proof names.
    """
    from guardopt.proof.audit import audit as check

    loaded = load_scenario(scenario, changes, seed, falls)
    try:
        text = proof.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = (error.strerror or str(error)).lower() if isinstance(error, OSError) else "is no text"
        raise InputError([Problem(str(proof), f"cannot be read: {reason}")]) from error
    found = check(loaded, text, str(proof))
    asked = {"--seed": (seed, found.seed), "--falls": (falls, found.falls)}
    others = [
        Problem(option, f"found {given}, but the proof is about {theirs}")
        for option, (given, theirs) in asked.items()
        if given not in (None, theirs)
    ]
    if others:
        raise InputError(others)
    if as_json:
        print_json(found.to_json())
    else:
        from guardopt.reports.audit_text import audit_text

        click.echo(audit_text(found, str(proof)))
    if not found.valid:
        context.exit(1)
