"""The motorcycle from the side: discs as large as money, halves for sides, and numbers that the table has, too."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest
from folders import edited, write_folder
from made_pages import page_of
from shipped import NAMES, shipped

from guardopt.loading.load import load
from guardopt.model.scenario import Scenario
from guardopt.pages.bike_drawing import LARGEST_RADIUS, NUMBERED, bike_svg, numbers_of
from guardopt.pages.page_tables import part_table
from guardopt.questions.plan import plan
from guardopt.questions.plan_result import Plan
from guardopt.reports.plots import BARE, FITTED, spoken
from guardopt.words import money

pytest.importorskip("jinja2")
pytest.importorskip("matplotlib")

PLACED = """\
part,side,price,hours,break_chance,touch_up,strip_down,x,y
lever,both,30,0.2,0.6,5,,1250,1045
engine_case,left,180,1.5,0.8,20,left_fairing,640,400
radiator,centre,260,1.2,,,,1000,600
tank,centre,500,1,0.5,90,,,
"""

XML = "{http://www.w3.org/2000/svg}"


def placed(folder: Path) -> Plan:
    """The small twin with places for all its parts but the tank, and a plan for it."""
    return plan(load(write_folder(folder, parts=PLACED)), reasons=False)


def discs(made: Plan) -> dict[str, tuple[str, str]]:
    """Outlines of the bare and the fitted disc by what the drawing says of them."""
    drawing = bike_svg(made)
    assert drawing is not None
    found = {}
    for group in ElementTree.fromstring(drawing).iter(f"{XML}g"):  # noqa: S314 - our own drawing
        title = group.find(f"{XML}title")
        if title is not None:
            bare, fitted = group.iter(f"{XML}path")
            assert (bare.get("fill"), fitted.get("fill")) == (BARE, FITTED)
            found[(title.text or "").split(":")[0]] = (bare.get("d") or "", fitted.get("d") or "")
    return found


def area(outline: str) -> float:
    """Area of a disc or half of one, by its outline: a start, and arcs of half a turn each."""
    arcs = re.findall(r"A([\d.]+) \1 0 0 [01] ", outline)
    return math.pi * float(arcs[0]) ** 2 / 2.0 * len(arcs)


def places(outline: str) -> list[tuple[float, float]]:
    """The points that an outline goes through."""
    number = r"(-?[\d.]+)"
    start = re.findall(rf"^M{number} {number}", outline)
    return [(float(x), float(y)) for x, y in start + re.findall(rf"A[\d.]+ [\d.]+ 0 0 [01] {number} {number}", outline)]


def costs(made: Plan) -> dict[str, tuple[float, float]]:
    """Yearly bills of parts, bare and fitted, by their spoken names."""
    each = zip(made.scenario.parts, made.bare.part_bill_per_year, made.fitted.part_bill_per_year, strict=True)
    return {spoken(part.id): (float(bare), float(fitted)) for part, bare, fitted in each}


def test_the_area_of_a_disc_is_the_money() -> None:
    """Of any two marks, bare or fitted, whole or half, that of twice the cost has twice the area."""
    made = page_of("courier").plan
    paid = costs(made)
    ratios = [
        area(outline) / amount
        for name, outlines in discs(made).items()
        for outline, amount in zip(outlines, paid[name], strict=True)
        if amount > 0.5
    ]
    assert len(ratios) > 20
    assert max(ratios) == pytest.approx(min(ratios), rel=0.02)


def test_the_largest_disc_fits_the_machine() -> None:
    """Whatever the money, the largest mark has the same size, so that the machine can still be seen."""
    radii = [
        float(radius)
        for pair in discs(page_of("courier").plan).values()
        for one in pair
        for radius in re.findall(r"A([\d.]+) ", one)
    ]
    assert max(radii) == pytest.approx(LARGEST_RADIUS, abs=0.1)


def test_the_left_half_is_the_left_side(tmp_path: Path) -> None:
    """Both halves stand on the part's own place; the left one's arc goes left of it, the right one's right."""
    marks = discs(placed(tmp_path))
    assert sorted(marks) == ["engine case", "lever, left", "lever, right", "radiator"]
    for name, x, turn in (("lever, left", 1250.0, "0"), ("lever, right", 1250.0, "1"), ("engine case", 640.0, "0")):
        for outline in marks[name]:
            assert {place[0] for place in places(outline)} == {x}
            # From top to bottom; an arc of SVG drawn clockwise (sweep 1) then bulges to the right.
            assert places(outline)[0][1] <= places(outline)[1][1]
            assert re.findall(r"A[\d.]+ [\d.]+ 0 0 ([01]) ", outline) == [turn]
    up, down = (place[1] for place in places(marks["lever, left"][0])[:2])
    assert (up + down) / 2 == pytest.approx(-1045.0, abs=0.1)
    assert len(re.findall("A", marks["radiator"][0])) == 2


def test_every_disc_says_its_money_in_words(tmp_path: Path) -> None:
    """Pointing at a disc, or hearing it, gives the part and both amounts."""
    made = placed(tmp_path)
    drawing = bike_svg(made)
    assert drawing is not None
    for name, (bare, fitted) in costs(made).items():
        says = f"<title>{name}: {money(bare, 'EUR')} a year bare, {money(fitted, 'EUR')} a year fitted</title>"
        assert (says in drawing) == (name != "tank")


def test_numbers_are_those_of_the_table() -> None:
    """The dearest rows are numbered from one; drawing and table agree, and both sides of a part share a number."""
    made = page_of("courier").plan
    numbers = numbers_of(made)
    assert list(numbers.values()) == list(range(1, len(numbers) + 1))
    whole: dict[str, float] = {}
    for part, bare in zip(made.scenario.parts, made.bare.part_bill_per_year, strict=True):
        whole[part.row] = whole.get(part.row, 0.0) + float(bare)
    assert [whole[row] for row in numbers] == sorted((whole[row] for row in numbers), reverse=True)
    table = part_table(made, numbered=True)
    said = {row["name"]: row["number"] for row in [*table["first"], *table["rest"]]}
    assert said == {spoken(part.id): numbers[part.row] for part in made.scenario.parts if part.row in numbers}
    drawing = bike_svg(made)
    assert drawing is not None
    labels = re.findall(r'class="number">(\d+)<', drawing)
    assert sorted(map(int, labels)) == list(range(1, min(NUMBERED, len(numbers)) + 1))


@pytest.mark.parametrize("name", ["courier", "tourer"])
def test_every_mark_and_number_lies_within_the_picture(name: str) -> None:
    """Nothing is cut off at its edge."""
    made = page_of(name).plan
    drawing = bike_svg(made)
    assert drawing is not None
    left, top, width, height = map(float, re.findall(r'viewBox="([^"]*)"', drawing)[0].split())
    for pair in discs(made).values():
        for outline in pair:
            radius = float(re.findall(r"A([\d.]+) ", outline)[0])
            for x, y in places(outline):
                assert left <= x - radius <= x + radius <= left + width
                assert top <= y <= top + height
    for x, y in re.findall(r'<text x="(-?\d+)" y="(-?\d+)"', drawing):
        assert left + 20 <= float(x) <= left + width - 20
        assert top + 20 <= float(y) <= top + height - 20


def test_without_places_there_is_no_picture(tmp_path: Path) -> None:
    """A scenario need not say where its parts are; one that says it only of parts that cost nothing has none either."""
    made = page_of("small_twin").plan
    assert bike_svg(made) is None
    assert numbers_of(made) == {}
    unhurt = placed(tmp_path)
    parts = tuple(part if part.id == "radiator" else replace(part, x=None, y=None) for part in unhurt.scenario.parts)
    hits = {pair: 0.0 if pair[1] == "radiator" else chance for pair, chance in unhurt.scenario.hits.items()}
    scenario = replace(unhurt.scenario, parts=parts, hits=hits, knock_ons=())
    assert bike_svg(plan(scenario, reasons=False)) is None


def test_a_part_that_costs_nothing_has_no_mark(tmp_path: Path) -> None:
    """A disc of no area would only be a speck with a number."""
    sound = edited("hits", "radiator,0.02,0.15", "radiator,0,0")
    made = plan(load(write_folder(tmp_path, parts=PLACED, **sound)), reasons=False)
    assert "radiator" not in numbers_of(made)
    assert "radiator" not in discs(made)


def test_both_sides_of_a_part_share_its_place(tmp_path: Path) -> None:
    """A row for both sides has one place; a row without x and y has none."""
    parts = {part.id: (part.x, part.y) for part in placed(tmp_path).scenario.parts}
    assert parts["lever.left"] == parts["lever.right"] == (1250.0, 1045.0)
    assert parts["tank"] == (None, None)


def on_the_machine(scenario: Scenario) -> list[str]:
    """Parts whose place is not where a motorcycle can have one: a metre behind its axle to two and a half ahead.

    Common practice, no source.
    """
    return [
        part.id
        for part in scenario.parts
        if part.x is None or part.y is None or not (-1000.0 <= part.x <= 2500.0 and 0.0 <= part.y <= 2000.0)
    ]


@pytest.mark.parametrize("name", NAMES)
def test_shipped_bikes_have_their_parts_on_them(name: str) -> None:
    """Every part has a place, the grips above and the exhaust behind the tank (common practice, no source)."""
    scenario = shipped(name)
    assert on_the_machine(scenario) == []
    x = {part.row: part.x or 0.0 for part in scenario.parts}
    y = {part.row: part.y or 0.0 for part in scenario.parts}
    assert y["grip"] > y["tank"] > y["foot_peg"]
    assert x["fork_leg"] > x["tank"] > x["exhaust"]


def test_places_change_no_money(tmp_path: Path) -> None:
    """Where a part is drawn is nothing to the plan."""
    assert placed(tmp_path).to_json() == plan(load(write_folder(tmp_path / "plain")), reasons=False).to_json()
