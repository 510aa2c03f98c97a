"""Rows give back the chances they were fitted to, and say how far off they are where they cannot."""

from __future__ import annotations

from itertools import chain, combinations

import numpy as np
import pytest

from guardopt.shape.row_fitting import fit


def kits_of(*guards: str) -> list[frozenset[str]]:
    """Every set of these guards, smaller ones first."""
    return [frozenset(kit) for kit in chain.from_iterable(combinations(guards, n) for n in range(len(guards) + 1))]


def by_the_model(bare: float, kit: frozenset[str], rows: list[tuple[str, float, float]]) -> float:
    """The chance of being harmed, by the definition: struck by the road or by a row that harms, and no row holds."""
    unspared, unharmed = 1.0, 1.0
    for names, holds, harms in rows:
        if kit.issuperset(names):
            unspared *= 1.0 - holds
            unharmed *= 1.0 - harms
    return unspared * (bare + (1.0 - bare) * (1.0 - unharmed))


def test_chances_that_rows_made_are_given_back() -> None:
    """The rows themselves are found again."""
    rows = [("a", 0.6, 0.0), ("b", 0.0, 0.3), ("ac", 0.5, 0.0), ("abd", 0.7, 0.0), ("bc", 0.0, 0.4)]
    kits = kits_of(*"abcd")
    chances = np.array([[by_the_model(0.4, kit, rows)] for kit in kits])
    fitted = fit(np.array([0.4]), kits, chances, least=1e-9)
    assert fitted.chances == pytest.approx(chances, abs=1e-12)
    found = {"".join(sorted(row.guards)): (row.holds[0], row.harms[0]) for row in fitted.rows}
    assert found == {names: pytest.approx((holds, harms)) for names, holds, harms in rows}


def test_single_guards_are_always_given_back() -> None:
    """Whatever the chances are, a kit of one guard is exact."""
    generator = np.random.default_rng(3)
    kits = kits_of(*"abcdef")
    bare = generator.uniform(0.05, 0.95, 8)
    chances = generator.uniform(0.0, 1.0, (len(kits), 8))
    chances[0] = bare
    fitted = fit(bare, kits, chances, least=1e-9)
    assert fitted.chances[:7] == pytest.approx(chances[:7], abs=1e-12)


def test_three_guards_that_only_help_together_make_one_row() -> None:
    """Nothing singly, nothing in pairs, nine tenths together."""
    kits = kits_of(*"abc")
    chances = np.array([[0.8]] * 7 + [[0.08]])
    fitted = fit(np.array([0.8]), kits, chances)
    assert [sorted(row.guards) for row in fitted.rows] == [["a", "b", "c"]]
    assert fitted.rows[0].holds == pytest.approx([0.9])


def test_changes_that_matter_to_nobody_make_no_row() -> None:
    """Below the least change there is no row."""
    kits = kits_of("a")
    assert fit(np.array([0.5]), kits, np.array([[0.5], [0.497]])).rows == ()
    assert len(fit(np.array([0.5]), kits, np.array([[0.5], [0.497]]), least=0.001).rows) == 1


def test_two_guards_that_spare_the_same_falls_are_less_than_their_product() -> None:
    """Each spares half, both together no more: two holds of a half would spare three quarters."""
    kits = kits_of("a", "b")
    fitted = fit(np.array([0.4]), kits, np.array([[0.4], [0.2], [0.2], [0.2]]))
    assert fitted.chances == pytest.approx(np.array([[0.4], [0.2], [0.2], [0.2]]))
    assert fitted.rows[-1].harms[0] == pytest.approx(1 - (1 - 0.2 / 0.25) / 0.6)


def test_what_cannot_be_given_back_is_seen_in_the_chances() -> None:
    """A part that always strikes the road cannot be struck more often, so that two that hold cannot undo each other."""
    kits = kits_of("a", "b")
    fitted = fit(np.array([1.0]), kits, np.array([[1.0], [0.3], [0.3], [1.0]]))
    assert fitted.chances[:3] == pytest.approx(np.array([[1.0], [0.3], [0.3]]))
    assert fitted.chances[3, 0] == pytest.approx(0.09)


def test_no_guards_need_no_rows() -> None:
    """The bare bike is given back as it is."""
    fitted = fit(np.array([0.3, 0.4]), [frozenset()], np.array([[0.3, 0.4]]))
    assert fitted.rows == ()
    assert fitted.chances == pytest.approx(np.array([[0.3, 0.4]]))
