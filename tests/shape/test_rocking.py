"""Falls on uneven ground, by hand and by plain simulation; slides as they were measured."""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
import pytest
from shape.bodies import BIKE, CENTRE, GUARDS, NAKED, body_of, both_sides, mirrored

from guardopt.model.pieces import Point
from guardopt.shape.kits import RestingKits, shares_struck
from guardopt.shape.points import body
from guardopt.shape.rest import rest
from guardopt.shape.rocking import Ground, draw_rocking, slide_metres, speed_for, strikes

DRAWN = draw_rocking(500, np.random.default_rng(7))


def test_without_rocking_a_part_is_struck_if_the_road_bites_deeper_than_it_is_clear() -> None:
    """P(B ≥ c) = Φ(ln(bite / c) / spread): the lognormal distribution at the clearance c."""
    lying = rest(body(NAKED, CENTRE, BIKE), is_left=True)
    drawn = draw_rocking(20_000, np.random.default_rng(1))
    struck = strikes(lying, Ground(bite=30.0, spread=0.8, tilt=0.0), drawn).mean(axis=1)
    for clear, share in zip(lying.clearances(), struck, strict=True):
        expected = 1.0 if clear == 0.0 else NormalDist().cdf(math.log(30.0 / clear) / 0.8)
        assert share == pytest.approx(expected, abs=4 * math.sqrt(0.25 / 20_000))


def test_strikes_are_those_of_a_plain_loop_over_falls_and_points() -> None:
    """The definition, point by point, wear included."""
    points = [*NAKED, *mirrored("bar", 800, 385, 520, wears=0.5, thick=9.0)]
    lying = rest(body(points, CENTRE, BIKE | {"bar"}), is_left=True)
    ground = Ground(bite=15.0, spread=0.5, tilt=4.0, slide=12.0)
    struck = strikes(lying, ground, DRAWN)
    n0 = lying.normal
    u = np.array([1.0, 0.0, 0.0]) - n0[0] * n0
    u /= np.linalg.norm(u)
    v = np.cross(n0, u)

    def height(point: Point, normal: np.ndarray) -> float:
        place = np.array([point.forward, point.out, point.up])
        return float(place @ normal) - min(point.thick, point.wears * ground.slide)

    for fall in range(0, 500, 25):
        bite = 15.0 * math.exp(0.5 * DRAWN.depth[fall])
        a, b = math.tan(math.radians(4.0)) * DRAWN.tilts[fall]
        n1 = n0 + a * u + b * v
        n1 /= np.linalg.norm(n1)
        for row, name in enumerate(lying.body.ids):
            own = [point for point in points if point.id == name]
            clear = [max(height(p, n) for p in points) - max(height(p, n) for p in own) for n in (n0, n1)]
            assert struck[row, fall] == (min(clear) <= bite), (fall, name)


def test_falls_to_the_right_of_a_symmetric_bike_are_those_to_the_left() -> None:
    """Fall by fall, with the names of the sides exchanged."""
    ground = Ground(20.0)
    left, right = (strikes(rest(body(NAKED, CENTRE, BIKE), is_left=one), ground, DRAWN) for one in (True, False))
    ids = rest(body(NAKED, CENTRE, BIKE), is_left=True).body.ids
    swapped = [
        ids.index({"left": f"{n}.right", "right": f"{n}.left"}.get(s, n)) for n, _, s in (i.partition(".") for i in ids)
    ]
    assert (left == right[swapped]).all()


@pytest.mark.parametrize("is_left", [True, False])
def test_many_kits_at_once_are_struck_as_each_kit_by_itself(is_left: bool) -> None:
    """Planes that kits share are only a shortcut."""
    guards = frozenset(point.id for point in GUARDS)
    resting = RestingKits([*NAKED, *GUARDS], CENTRE, guards, is_left)
    kits = [
        frozenset(kit)
        for kit in ((), ("engine_bar",), ("rear_hoop",), ("slider.left",), ("engine_bar", "rear_hoop"), guards)
    ]
    parts = sorted(BIKE)
    ground = Ground(25.0, slide=3.0)
    shares = shares_struck(resting, kits, ground, DRAWN, parts)
    for row, kit in enumerate(kits):
        lying = rest(body([*NAKED, *GUARDS], CENTRE, BIKE | kit), is_left=is_left)
        struck = strikes(lying, ground, DRAWN).mean(axis=1)
        assert resting.rest(kit).normal == pytest.approx(lying.normal, abs=1e-12)
        assert shares[row] == pytest.approx([struck[lying.body.row[part]] for part in parts])


def test_a_symmetric_kit_is_found_at_the_same_rest_in_whatever_order_it_grew() -> None:
    """A guard that stays within the faces passed leaves the rest as it is."""
    guards = frozenset(point.id for point in GUARDS)
    grown = RestingKits([*NAKED, *GUARDS], CENTRE, guards, True)
    for kit in ((), ("slider.right",), ("slider.left", "slider.right"), guards):
        assert grown.rest(kit).normal == pytest.approx(
            RestingKits([*NAKED, *GUARDS], CENTRE, guards, True).rest(kit).normal, abs=1e-12
        )


def test_worn_points_recede_by_what_is_ground_off_and_no_more_than_there_is() -> None:
    """By hand, on a box of which every other corner is thick."""
    cube = np.array([(x, y, z) for x in (0.0, 900.0) for y in (-300, 300) for z in (0.0, 900.0)])
    one = body_of(cube, np.array([450.0, 0.0, 450.0]))
    worn = type(one)(one.ids, one.first, one.places, np.full(8, 0.5), np.array([6.0, 100.0] * 4), one.centre)
    assert worn.ground_off(8.0).tolist() == [4.0] * 8
    assert worn.ground_off(40.0).tolist() == [6.0, 20.0] * 4
    lying = rest(worn, is_left=True)
    assert sorted(lying.clearances(worn.ground_off(40.0)).round(9)) == [0, 0, 14, 14, 600, 600, 614, 614]


def test_slides_are_as_long_as_energy_says() -> None:
    """v²/(2·f·g), the skid-to-stop formula of accident reconstruction.

    Towed or skidded motorcycles gave f = 0.45–0.58 at 40 km/h (Day and Smith 1984) and 0.33 bare, 0.26 with a fairing
    from 85 km/h (Raftery 1995); both are quoted here from a secondary source, their tables were not seen. The lengths
    are worked out by hand from those factors.
    """
    assert slide_metres(40.0, 0.45) == pytest.approx(13.99, abs=0.01)
    assert slide_metres(40.0, 0.58) == pytest.approx(10.85, abs=0.01)
    assert slide_metres(85.0, 0.33) == pytest.approx(86.13, abs=0.01)
    assert slide_metres(85.0, 0.26) == pytest.approx(109.32, abs=0.01)
    assert slide_metres(0.0, 0.5) == 0.0


def test_the_speed_for_a_slide_undoes_the_slide_for_a_speed() -> None:
    """One formula, solved both ways."""
    assert speed_for(slide_metres(63.0, 0.41), 0.41) == pytest.approx(63.0)


def order_of_contact(points: list[Point], ids: frozenset[str]) -> list[str]:
    """The sided things of the left by how far they stay clear."""
    lying = rest(body(points, CENTRE, ids), is_left=True)
    clear = dict(zip(lying.body.ids, lying.clearances(), strict=True))
    return sorted((name for name in clear if name.endswith(".left")), key=lambda name: clear[name])


def test_a_naked_bike_goes_down_on_bar_end_lever_fork_foot_and_peg() -> None:
    """Common practice, no source: the order of contact in a low-side."""
    assert set(order_of_contact(NAKED, BIKE)[:4]) == {"bar_end.left", "lever.left", "fork_foot.left", "peg.left"}


def test_with_an_engine_bar_and_a_rear_hoop_fork_and_case_stay_clear() -> None:
    """Common practice, no source."""
    lying = rest(body([*NAKED, *GUARDS], CENTRE, BIKE | {"engine_bar", "rear_hoop"}), is_left=True)
    clear = dict(zip(lying.body.ids, lying.clearances(), strict=True))
    assert {"engine_bar", "rear_hoop"} <= set(lying.rests_on)
    assert clear["fork_foot.left"] > 100
    assert clear["case.left"] > 50


def test_what_touches_first_while_leaning_is_lowest_by_up_over_out() -> None:
    """A bike leaned about its tyres' line touches at the point of least angle atan(up / out)."""
    points = [
        *both_sides("peg", 430, 330, 265),
        *both_sides("case", 640, 235, 300),
        *both_sides("bar", 1110, 410, 1050),
    ]
    lean = {p.id: math.degrees(math.atan2(p.up, p.out)) for p in points if p.out > 0}
    touching = []
    for degrees in np.arange(0.0, 90.0, 0.25):
        normal = np.array([0.0, math.sin(math.radians(degrees)), -math.cos(math.radians(degrees))])
        for p in points:
            if p.out > 0 and p.id not in touching and normal @ [p.forward, p.out, p.up] >= 0.0:
                touching.append(p.id)
    assert touching == sorted(lean, key=lambda name: lean[name])
    assert touching[0] == "peg.left"
