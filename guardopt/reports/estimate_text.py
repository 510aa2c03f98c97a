"""The report on chances estimated from measured points, for a terminal."""

from __future__ import annotations

from collections.abc import Sequence

from guardopt.questions.measured.estimate import Estimate
from guardopt.reports.layout import cautions, table, title
from guardopt.shape.estimating import JointRow
from guardopt.spelling import listed
from guardopt.words import percent, wrapped

MOST_CHANGES, MOST_TOGETHER, MOST_HARMS, MOST_PARTS = 12, 8, 8, 4

CHANGED = 0.05
"""Change of a chance from which on it is listed."""

HARMS = 0.1
"""Chance from which on what a guard exposes is listed."""


def estimate_text(answer: Estimate) -> str:
    """Chances from points, as text."""
    found = answer.measured
    whole = answer.scenario
    rest = [fall.id for fall in whole.falls if fall.id not in found.falls]
    lines = [*title(whole)]
    lines += wrapped(
        f"Measured: {len(found.parts)} of {len(whole.parts)} parts and {len(found.guards)} of {len(whole.guards)} "
        f"guards, both sides counted, in {listed(found.falls, last='and')}."
    )
    if rest:
        stay = "has no bite and stays as it was" if len(rest) == 1 else "have no bite and stay as they were"
        lines += wrapped(f"{listed(rest, last='and')} {stay}.")
    singly = sum(len(row.guards) == 1 for row in found.covers)
    lines += wrapped(
        f"Guards spare parts in {len(found.covers)} rows, {singly} of single guards, and expose them in "
        f"{len(found.exposes)}."
    )
    lines += ["", *wrapped(_fit(answer))]
    lines += ["", "Chances on the bare bike that changed most", *_changes(answer)]
    lines += _harms(answer)
    lines += _together(found.together)
    return "\n".join([*lines, *cautions()])


def _fit(answer: Estimate) -> str:
    """How well the rows give the simulated chances back."""
    found = answer.measured
    of_all = "every kit there is" if found.all_kits else "all kits of up to three guards and some larger ones"
    looked = f"Looked at: {found.kits} kits, {of_all}, on one side or the other."
    worst = found.worst
    if worst is None:
        return looked
    kit = listed(worst.kit, last="and") if worst.kit else "no guard"
    return (
        f"{looked} The rows give the simulated chances back to {100 * found.mean_misfit:.1f} points of 100 on average. "
        f"They are farthest off with {kit}: {worst.part} is struck in {percent(worst.simulated)} of {worst.fall}, and "
        f"the rows say {percent(worst.by_rows)}."
    )


def _changes(answer: Estimate) -> list[str]:
    rows = [row for row in answer.hit_rows() if abs(row["now"] - row["before"]) >= CHANGED]
    if not rows:
        return wrapped("None by more than 5 points of 100.", "  ")
    cells = [(row["part"], row["fall"], percent(row["before"]), percent(row["now"])) for row in rows[:MOST_CHANGES]]
    lines = table(("part", "fall", "before", "now"), cells, left=2)
    more = len(rows) - MOST_CHANGES
    return lines + (wrapped(f"({more} more changed by 5 points of 100 or more.)", "  ") if more > 0 else [])


def _harms(answer: Estimate) -> list[str]:
    """What single guards roll the bike onto."""
    rows = [row for row in answer.measured.exposes if len(row.guards) == 1 and row.chance >= HARMS]
    if not rows:
        return []
    return ["", "What guards roll the bike onto", *_by_guards(rows, MOST_HARMS, "struck in up to")]


def _together(rows: Sequence[JointRow]) -> list[str]:
    if not rows:
        return []
    return ["", "Guards that help only together", *_by_guards(rows, MOST_TOGETHER, "spared in up to")]


def _by_guards(rows: Sequence[JointRow], most: int, what: str) -> list[str]:
    """Rows gathered by guards, with the largest chance of each part over the kinds of fall."""
    gathered: dict[tuple[str, ...], dict[str, float]] = {}
    for row in rows:
        parts = gathered.setdefault(row.guards, {})
        parts[row.part] = max(parts.get(row.part, 0.0), row.chance)
    lines: list[str] = []
    for guards, parts in list(gathered.items())[:most]:
        told = [
            f"{part} {what} {percent(chance)}" for part, chance in sorted(parts.items(), key=lambda one: -one[1])[:4]
        ]
        lines += wrapped(f"{listed(guards, last='and')}: {listed(told, last='and')}", "    ", "  - ")
    if len(gathered) > most:
        lines += wrapped(f"({len(gathered) - most} more.)", "  ")
    return lines
