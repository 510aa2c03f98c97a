"""The next best kits are the next of an exhaustive list, and what is said of them can be recomputed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from random_scenarios import price_every_kit, random_scenario, sample_of

from guardopt.model.aims import AIMS, Aim, Limits
from guardopt.questions.plan import plan
from guardopt.simulation.risk import tail_scores, worst_mean


@pytest.mark.parametrize("aim", AIMS.values(), ids=str)
@pytest.mark.parametrize("seed", range(4))
def test_alternatives_are_the_next_of_every_kit(seed: int, aim: Aim) -> None:
    """In the order of the objective, none of them twice, each as far behind as exhaustive pricing says."""
    scenario = random_scenario(seed, guards=6, falls_sampled=25)
    made = plan(scenario, aim=aim.name)
    every = price_every_kit(scenario, sample_of(scenario))
    allowed = every.allowed(Limits(scenario.budget_cents))
    best = np.sort(every.measured[aim][allowed])
    kits = [one.kit for one in made.alternatives]
    assert len({made.kit, *kits}) == len(kits) + 1 == min(4, int(allowed.sum()))
    for place, one in enumerate(made.alternatives, start=1):
        near = 2e-6 * max(1.0, abs(best[place]))
        assert one.objective == pytest.approx(every.of(aim, one.kit), rel=1e-9, abs=1e-7)
        assert one.objective == pytest.approx(best[place], abs=near)
        assert one.behind == pytest.approx(one.objective - made.best.objective)
        assert one.behind_fresh_se is not None


def test_how_far_behind_on_fresh_falls_is_what_bills_say() -> None:
    """The difference of the two costs over the years and dislikes, both kits on the same falls."""
    scenario = random_scenario(3, guards=6, falls_sampled=40)
    made = plan(scenario)
    for number, one in enumerate(made.alternatives, start=3):
        theirs = made.prices.bills[number]
        assert theirs.kit == one.kit
        dislikes = scenario.dislike(one.kit) - scenario.dislike(made.kit)
        assert one.behind_fresh == pytest.approx(theirs.cost_over_years - made.fitted.cost_over_years + dislikes)
    assert made.to_json()["alternatives"][0].keys() == {
        *("kit", "buy", "spend", "objective", "behind", "behind_fresh", "behind_fresh_se")
    }


def test_kits_that_are_the_same_but_for_luck_are_named_nearly_as_good() -> None:
    """A guard that is worth nothing either way makes a kit that no simulation can tell apart."""
    scenario = random_scenario(3, guards=6, falls_sampled=40)
    free = replace(
        scenario.guards[0], id="sticker", row="sticker", slot=None, needs=(), not_with=frozenset(), price_cents=0
    )
    free = replace(free, fit_cents=0, wear_per_fall=0.0, dislike=0.0, owned=False, weight_kg=0.0, sells_cents=0)
    made = plan(replace(scenario, guards=(*scenario.guards, free)))
    assert any(one.may_be_luck and one.kit ^ made.kit == {"sticker"} for one in made.alternatives)
    assert "Nearly as good" in " ".join(made.headline)


def test_scores_of_a_tail_have_its_mean() -> None:
    """Their weighted mean is the mean of the worst share, an amount that straddles its limit included."""
    rng = np.random.default_rng(5)
    costs, weights = rng.integers(0, 9, 50).astype(float), rng.random(50)
    weights /= weights.sum()
    for tail in (0.1, 0.37, 1.0):
        assert weights @ tail_scores(costs, weights, tail) == pytest.approx(worst_mean(costs, weights, tail))
