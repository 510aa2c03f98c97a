"""A bike pushed over comes to rest where mechanics and other programs say, and clearances follow."""

from __future__ import annotations

import math

import numpy as np
import pytest
import trimesh
from scipy.spatial import ConvexHull
from shape.bodies import BIKE, CENTRE, GUARDS, NAKED, body_of, mirrored, random_body

from guardopt.errors import GuardoptError
from guardopt.model.pieces import Point
from guardopt.shape import settling
from guardopt.shape.points import Body, body
from guardopt.shape.rest import clearances, rest
from guardopt.shape.settling import depth_inside, exit_face, is_solid


def cuboid(*, length: float, width: float, height: float) -> np.ndarray:
    """The corners of a box that stands on the ground."""
    corners = [(x, y, z) for x in (0.0, length) for y in (-width / 2, width / 2) for z in (0.0, height)]
    return np.array(corners)


@pytest.mark.parametrize("is_left", [True, False])
@pytest.mark.parametrize("seed", range(12))
def test_every_rest_is_a_stable_pose_of_trimesh(seed: int, is_left: bool) -> None:
    """Trimesh (Dawson-Haggerty and others, trimesh.poses.compute_stable_poses) lists every face a body can lie on."""
    one = random_body(seed)
    lying = rest(one, is_left=is_left)
    hull = trimesh.Trimesh(one.places, ConvexHull(one.places).simplices).convex_hull
    poses, _ = trimesh.poses.compute_stable_poses(hull, center_mass=one.centre, sigma=0.0, n_samples=1)
    normals = -poses[:, 2, :3]
    pose = poses[np.linalg.norm(normals - lying.normal, axis=1).argmin()]
    assert lying.normal == pytest.approx(-pose[2, :3], abs=1e-6)
    above = one.places @ pose[2, :3] + pose[2, 3]
    assert lying.clearances() == pytest.approx(above, abs=1e-6)
    assert {one.ids[row] for row in np.flatnonzero(above < 1e-3)} == set(lying.rests_on)


@pytest.mark.parametrize("seed", range(12))
def test_a_ray_leaves_through_the_face_that_the_whole_hull_says(seed: int) -> None:
    """Qhull (Barber, Dobkin and Huhdanpaa 1996) lists every face; the ray leaves through the first it meets."""
    one = random_body(seed)
    sideways = np.array([0.0, 1.0, 0.0])
    planes = ConvexHull(one.places).equations
    speed = planes[:, :3] @ sideways
    away = np.full(len(planes), np.inf)
    away[speed > 0] = -(planes[:, 3] + planes[:, :3] @ one.centre)[speed > 0] / speed[speed > 0]
    normal, distance = exit_face(one.places, one.centre, sideways)
    assert normal == pytest.approx(planes[away.argmin(), :3], abs=1e-9)
    assert distance == pytest.approx(away.min(), abs=1e-7)


def test_a_cube_lies_flat_on_the_side_it_is_pushed_to() -> None:
    """A quarter turn, four corners on the road, four a side length above it."""
    one = body_of(cuboid(length=1000, width=1000, height=1000), np.array([500.0, 0.0, 500.0]))
    for is_left in (True, False):
        lying = rest(one, is_left=is_left)
        assert lying.normal == pytest.approx([0.0, 1.0 if is_left else -1.0, 0.0])
        assert lying.roll_degrees == pytest.approx(90.0)
        assert len(lying.rests_on) == 4
        assert sorted(lying.clearances()) == pytest.approx([0.0] * 4 + [1000.0] * 4)


def test_a_tetrahedron_lies_on_the_face_across_from_its_top() -> None:
    """A regular tetrahedron of edge a is a·√(2/3) high, whatever face it lies on."""
    edge = 900.0
    ground = np.array(
        [(edge / math.sqrt(3) * math.cos(t), edge / math.sqrt(3) * math.sin(t), 0.0) for t in (0.3, 2.394395, 4.488790)]
    )
    places = np.vstack([ground, [0.0, 0.0, edge * math.sqrt(2 / 3)]])
    lying = rest(body_of(places, places.mean(axis=0)), is_left=True)
    assert len(lying.rests_on) == 3
    assert lying.clearances().max() == pytest.approx(edge * math.sqrt(2 / 3), abs=1e-3)


def test_a_cylinder_of_points_lies_on_two_lines_of_them() -> None:
    """A prism of n points a ring rolls until the foot of its centre is within a face: it is r·cos(π/n) high."""
    corners, radius = 14, 300.0
    turns = 2 * math.pi * (np.arange(corners) + 0.31) / corners
    ring = np.stack([0 * turns, radius * np.cos(turns), 400 + radius * np.sin(turns)], axis=1)
    places = np.vstack([ring, ring + np.array([1200.0, 0.0, 0.0])])
    lying = rest(body_of(places, np.array([600.0, 0.0, 400.0])), is_left=True)
    assert len(lying.rests_on) == 4
    height = (places @ lying.normal).max() - lying.normal @ [600.0, 0.0, 400.0]
    assert height == pytest.approx(radius * math.cos(math.pi / corners))


def test_a_body_whose_mass_is_low_rights_itself() -> None:
    """A box with a bevelled foot lies on its side; with the mass so low that its foot is outside, it rights itself."""
    places = np.array(
        [
            (x, y, z)
            for x in (0.0, 1000.0)
            for y, z in ((200, 0), (250, 300), (150, 1000), (-200, 0), (-250, 300), (-150, 1000))
        ]
    )
    low = rest(body_of(places, np.array([500.0, 0.0, 20.0])), is_left=True)
    high = rest(body_of(places, np.array([500.0, 0.0, 500.0])), is_left=True)
    assert low.normal == pytest.approx([0.0, 0.0, -1.0])
    assert high.normal == pytest.approx(np.array([0.0, 700.0, 100.0]) / math.hypot(700.0, 100.0))


@pytest.mark.parametrize("seed", range(5))
def test_the_centre_of_mass_only_falls_on_the_way_and_ends_above_its_support(seed: int) -> None:
    """Statics: nothing topples upward, and a body stands where its weight acts within its support."""
    one = random_body(seed)
    lying = rest(one, is_left=True)
    heights = (one.places @ lying.passed.T).max(axis=0) - lying.passed @ one.centre
    assert (np.diff(heights) < 0).all()
    foot = one.centre + heights[-1] * lying.normal
    corners = one.places[[int(name) for name in lying.rests_on]]
    weights = np.linalg.solve(np.vstack([corners.T[:2], np.ones(3)]), [*foot[:2], 1.0])
    assert (weights >= 0).all()


@pytest.mark.parametrize("seed", range(5))
def test_a_machine_in_a_mirror_lies_in_the_mirror(seed: int) -> None:
    """To the last digit, so that symmetric bikes get the same numbers on both sides."""
    one = random_body(seed)
    left, right = rest(one, is_left=True), rest(one.mirrored(), is_left=False)
    assert right.normal.tolist() == (left.normal * [1, -1, 1]).tolist()
    assert right.roll_degrees == left.roll_degrees
    assert right.clearances().tolist() == left.clearances().tolist()


def test_a_guard_inside_the_hull_changes_nothing_and_one_far_out_carries() -> None:
    """Only what stands out can touch."""
    bare = rest(body(NAKED, CENTRE, BIKE), is_left=True)
    inside = rest(body([*NAKED, *mirrored("pad", 640, 100, 500)], CENTRE, BIKE | {"pad"}), is_left=True)
    far_out = rest(body([*NAKED, *mirrored("cage", 700, 900, 500)], CENTRE, BIKE | {"cage"}), is_left=True)
    assert inside.normal.tolist() == bare.normal.tolist()
    assert inside.clearances()[: len(bare.body.ids)].tolist() == bare.clearances().tolist()
    assert "cage" in far_out.rests_on


def test_a_guard_lowers_no_clearance_at_a_fixed_plane_but_may_at_rest() -> None:
    """The bar that saves the fork foot and the case brings the mirror to the road."""
    bare = rest(body(NAKED, CENTRE, BIKE), is_left=True)
    fitted_body = body([*NAKED, *GUARDS], CENTRE, BIKE | {"engine_bar"})
    fitted = rest(fitted_body, is_left=True)
    before = dict(zip(bare.body.ids, bare.clearances(), strict=True))
    same_plane = dict(zip(fitted_body.ids, clearances(fitted_body, bare.normal), strict=True))
    after = dict(zip(fitted_body.ids, fitted.clearances(), strict=True))
    assert all(same_plane[name] >= before[name] for name in BIKE)
    assert after["fork_foot.left"] > before["fork_foot.left"] + 100
    assert after["mirror.left"] < before["mirror.left"] - 30


def test_the_least_clearance_is_nil_and_three_things_carry() -> None:
    """A plane on a face of a hull; what carries is told from front to rear."""
    lying = rest(body(NAKED, CENTRE, BIKE), is_left=True)
    assert lying.clearances().min() == 0.0
    assert len(lying.rests_on) >= 3
    forward = [max(point.forward for point in NAKED if point.id == name) for name in lying.rests_on]
    assert forward == sorted(forward, reverse=True)


def test_points_inside_and_outside_the_hull_are_told_apart() -> None:
    """Along the ray from the middle of a box, whose walls are known."""
    places = cuboid(length=1000, width=400, height=1000)
    assert is_solid(places)
    assert depth_inside(places, np.array([500.0, 0.0, 900.0])) == pytest.approx(100.0)
    assert depth_inside(places, np.array([500.0, 0.0, 1200.0])) == pytest.approx(-200.0)
    assert depth_inside(places, places.mean(axis=0)) == math.inf
    assert not is_solid(places * [1.0, 0.0, 1.0])
    assert not is_solid(places[:3])


def test_a_search_that_does_not_end_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    """No endless loop, whatever rounding does."""
    monkeypatch.setattr(settling, "MOST_TURNS", 0)
    with pytest.raises(GuardoptError, match="no plane of rest"):
        rest(random_body(0), is_left=True)


def test_axes_of_rocking_are_at_right_angles_even_on_its_nose() -> None:
    """Length 1, right-handed, and defined where forward points into the road."""
    tall = body_of(cuboid(length=100, width=900, height=900) * [1, 1, 1], np.array([50.0, 0.0, 450.0]))
    for passed in (rest(tall, is_left=True).passed, np.array([[1.0, 0.0, 0.0]])):
        lying = type(rest(tall, is_left=True))(tall, True, passed)
        frame = np.stack([lying.normal, *lying.axes()])
        assert frame @ frame.T == pytest.approx(np.eye(3))
        assert np.linalg.det(frame) == pytest.approx(1.0)


def test_the_same_point_measured_twice_counts_once() -> None:
    """Nothing changes by writing a row twice."""
    twice: Body = body([*NAKED, *NAKED, Point("pad", 0, 0, 500)], CENTRE, BIKE)
    assert len(twice.places) == len(NAKED)
