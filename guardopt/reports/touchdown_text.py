"""The report on how a bike comes to lie, for a terminal."""

from __future__ import annotations

from guardopt.model.pieces import Fall
from guardopt.questions.bill import in_order
from guardopt.questions.measured.touchdown import Touchdown, WornThrough
from guardopt.questions.plan_result import Plan
from guardopt.reports.bill_text import often
from guardopt.reports.layout import cautions, plus_minus, shortened, table, title
from guardopt.shape.rest import TOUCHES
from guardopt.shape.rocking import slide_metres, speed_for
from guardopt.spelling import listed
from guardopt.words import money, percent, wrapped

FAR = 300.0
"""Millimetres of clearance, bare and with the kit, beyond which something is not listed."""

CHANGED = 5.0
"""Millimetres by which a clearance has to change to be mentioned."""

MOST_NAMED = 5
MOST_OF_AN_ID = 14

ABREAST = 4
"""Kinds of fall side by side."""


def touchdown_text(answer: Touchdown) -> str:
    """How the bike comes to lie, as text."""
    lines = [*title(answer.scenario), *wrapped(headline(answer))]
    lines += [line for sentence in what_guards_do(answer) for line in wrapped(sentence)]
    lines += ["", "How far each thing stays clear of the road (mm)", *_clearances(answer)]
    lines += _chances(answer)
    lines += _wear(answer)
    return "\n".join([*lines, *cautions()])


def headline(answer: Touchdown) -> str:
    """Where the bike comes to rest, in one sentence."""
    kit = in_order(answer.scenario, answer.kit)
    on_it = f"with {listed(kit, last='and')}" if kit else "bare"
    rests_on = listed(answer.lying.rests_on, last="and")
    return (
        f"Pushed over to the {answer.side}, the bike, {on_it}, rolls to {answer.lying.roll_degrees:.0f} degrees and "
        f"rests on {rests_on}."
    )


def what_guards_do(answer: Touchdown) -> list[str]:
    """Which guards hold the bike off the road, which do not touch, and what they save and what they roll it onto."""
    if not answer.kit:
        return []
    measured = [name for name in in_order(answer.scenario, answer.kit) if name in answer.lying.body.row]
    unmeasured = [name for name in in_order(answer.scenario, answer.kit) if name not in answer.lying.body.row]
    carries = [name for name in measured if name in answer.lying.rests_on]
    idle = [name for name in measured if name not in carries and _serves(answer, name)]
    found = []
    if carries:
        hold = "holds" if len(carries) == 1 else "hold"
        found.append(f"{listed(carries, last='and')} {hold} it off the road.")
    if idle:
        touch = "does" if len(idle) == 1 else "do"
        found.append(f"{listed(idle, last='and')} {touch} not touch when it lies still.")
    if unmeasured:
        was = "was" if len(unmeasured) == 1 else "were"
        found.append(f"{listed(unmeasured, last='and')} {was} not measured and {was} left out.")
    changes = {
        name: clear - answer.bare_clearances[name]
        for name, clear in answer.clearances.items()
        if name in answer.bare_clearances and min(clear, answer.bare_clearances[name]) < FAR
    }
    saved = [name for name in sorted(changes, key=lambda name: -changes[name]) if changes[name] > CHANGED]
    nearer = [name for name in sorted(changes, key=lambda name: changes[name]) if changes[name] < -CHANGED]
    if saved:
        found.append(f"Against the bare bike it lifts {_moves(answer, saved)}.")
    if nearer:
        found.append(f"It rolls the bike towards {_moves(answer, nearer)}.")
    return found


def _serves(answer: Touchdown, guard: str) -> bool:
    side = answer.scenario.guard[guard].side
    return not side.is_sided or side is answer.side


def _moves(answer: Touchdown, names: list[str]) -> str:
    """What moved against the bare bike, and from where to where."""
    parts = [
        f"{name} (from {answer.bare_clearances[name]:.0f} to {answer.clearances[name]:.0f} mm)"
        for name in names[:MOST_NAMED]
    ]
    return listed(parts, last="and")


def shown_clearances(answer: Touchdown) -> list[tuple[str, float, float | None]]:
    """Each thing that comes near the road, bare or with the kit: how far it stays clear with the kit, and bare."""
    rows = [(name, clear, answer.bare_clearances.get(name)) for name, clear in answer.clearances.items()]
    return [row for row in rows if row[1] <= FAR or (row[2] is not None and row[2] <= FAR)]


def _clearances(answer: Touchdown) -> list[str]:
    near = shown_clearances(answer)
    rests = ["rests on it" if clear <= TOUCHES else "" for _, clear, _ in near]
    fitted = [(name, f"{clear:.0f}") for name, clear, _ in near]
    if answer.kit:
        bare = ["" if clear is None else f"{clear:.0f}" for _, _, clear in near]
        lines = table(("", "fitted", "bare", ""), [(*row, b, r) for row, b, r in zip(fitted, bare, rests, strict=True)])
    else:
        lines = table(("", "bare", ""), [(*row, r) for row, r in zip(fitted, rests, strict=True)])
    left_out = len(answer.clearances) - len(near)
    if left_out:
        lines += wrapped(f"({left_out} more things stay clear by more than {FAR:.0f} mm.)", "  ")
    return lines


def struck_table(answer: Touchdown) -> tuple[list[str], list[tuple[str, list[str]]]]:
    """Kinds of fall, and parts by them in percent; parts that are never struck are left out."""
    falls = list(dict.fromkeys(row["fall"] for row in answer.chances))
    struck = {(row["fall"], row["part"]): row["struck"] for row in answer.chances}
    parts = [part for part in answer.clearances if any(struck.get((fall, part), 0.0) > 0.0 for fall in falls)]
    cells = [[percent(struck[fall, part]) if struck[fall, part] else "" for fall in falls] for part in parts]
    return falls, list(zip(parts, cells, strict=True))


def _chances(answer: Touchdown) -> list[str]:
    falls, rows = struck_table(answer)
    if not falls:
        return ["", *wrapped("No kind of fall has a bite in falls.csv, so no chances are worked out.")]
    head = f"How often falls to the {answer.side} strike each part"
    lines = ["", head]
    for start in range(0, len(falls), ABREAST):
        heads = [shortened(fall, MOST_OF_AN_ID) for fall in falls[start : start + ABREAST]]
        lines += ["", *table(("part", *heads), [(part, *cells[start : start + ABREAST]) for part, cells in rows])]
    return lines


def worn_sentences(answer: Touchdown) -> list[str]:
    """How far what touches lasts, from which speed it is through, and how far each kind of fall slides."""
    if not answer.wear:
        return []
    falls = [fall for fall in answer.scenario.falls if fall.bite is not None]
    found = [_worn(one, falls) for one in answer.wear]
    slides = [
        f"{fall.id} {slide_metres(fall.speed, fall.drag):.0f} m from {fall.speed:g} km/h"
        for fall in falls
        if fall.speed
    ]
    return [*found, f"Slides: {listed(slides, last='and')}."] if slides else found


def _wear(answer: Touchdown) -> list[str]:
    sentences = [line for one in worn_sentences(answer) for line in wrapped(one, "    ", "  - ")]
    return ["", "What is ground off as the bike slides", *sentences] if sentences else []


def _worn(one: WornThrough, falls: list[Fall]) -> str:
    drags = sorted({fall.drag for fall in falls})
    speeds = [
        f"{speed_for(one.wear.metres, drag):.0f} km/h" + (f" at a drag factor of {drag:g}" if len(drags) > 1 else "")
        for drag in drags
    ]
    through = f", the slide from {listed(speeds, last='or')}" if speeds else ""
    then = listed(one.then.rests_on, last="and")
    lasts = f"{one.wear.thick:g} mm last {one.wear.metres:.1f} m{through}"
    return f"{one.wear.id}: {lasts}. Ground off, the bike rests on {then}."


def lying_sentences(plan: Plan) -> list[str]:
    """On what the bike rests on either side, and what falls cost by that; none if nothing was measured."""
    lying, currency = plan.lying, plan.scenario.currency
    if lying is None:
        return []
    left, right = (listed(one.rests_on, last="and") for one in (lying.left, lying.right))
    found = [f"On its left it rests on {left}; on its right on {right}."]
    if lying.yearly_cost is None or lying.difference is None:
        return found
    more = "more" if lying.difference > 0.0 else "less"
    error = plus_minus(lying.yearly_cost_se)
    price = f"Priced once more by how it lies, falls cost {money(lying.yearly_cost, currency)} {error} a year with it"
    if not lying.is_telling:
        return [*found, f"{price}, and the chances in the tables agree with that."]
    parts = [
        f"{one.part} (damaged {often(one.lying)} times a year, {often(one.tables)} by the tables)"
        for one in lying.parts
    ]
    most = f"; most of that is {listed(parts, last='and')}" if parts else ""
    found.append(f"{price}: {money(abs(lying.difference), currency)} {more} than the chances in the tables say{most}.")
    found.append(
        "Measure those again or think again how often they are struck; the command estimate works out from the points "
        "what the tables would have to say."
    )
    return found
