"""Every reason has a bike on which it is the one, and says so in words whose numbers are the verdict's own."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from random_scenarios import random_scenario
from reasons_by_example import BAR, BAR_COVERS, EXAMPLES, PAD, PAD_COVERS, SEAT, TANK, guard
from shipped import NAMES, shipped_plan

from guardopt.errors import NoKitError
from guardopt.model.pieces import Offer
from guardopt.model.scenario import Scenario
from guardopt.questions.explanation.verdicts import Reason, Verdict
from guardopt.questions.plan import plan
from guardopt.questions.plan_result import Plan


@pytest.mark.parametrize(("bike", "asked", "name", "reason", "said"), EXAMPLES)
def test_reason_and_sentence(
    make_scenario: Callable[..., Scenario],
    bike: dict[str, Any],
    asked: dict[str, Any],
    name: str,
    reason: Reason,
    said: str,
) -> None:
    """On this bike the guard is in or out for this reason, and the sentence says it with its numbers."""
    scenario = make_scenario(**{"parts": [TANK, SEAT], **bike})
    (verdict,) = (record for record in plan(scenario, **asked).to_json()["guards"] if record["guard"] == name)
    assert (verdict["reason"], verdict["text"]) == (reason.value, said)


def test_there_is_an_example_of_every_reason() -> None:
    """No reason is without one."""
    assert {reason for _, _, _, reason, _ in EXAMPLES} == set(Reason)


def test_no_price_is_named_for_a_guard_that_an_offer_makes_cheap(make_scenario: Callable[..., Scenario]) -> None:
    """A pad in a lot at 33 comes in at a budget of 33, but not for being cheaper itself: the lot still costs 33."""
    offer, pad = Offer("lot", frozenset({"bar", "pad"}), 3300), guard("pad", 32)
    scenario = make_scenario([TANK, SEAT], [BAR, pad], BAR_COVERS + PAD_COVERS, offers=(offer,), budget_cents=3200)
    verdict = plan(scenario).to_json()["guards"][1]
    assert (verdict["reason"], verdict["enters_at_price"]) == ("over_budget", None)
    assert "from a budget of EUR 33.00 it is in. With it on" in verdict["text"]


def test_without_time_nothing_is_claimed_that_was_not_worked_out(make_scenario: Callable[..., Scenario]) -> None:
    """Once the time is up, losses are left out of the sentences and no better kit is said to be impossible."""
    scenario = make_scenario([TANK, SEAT], [BAR, PAD], BAR_COVERS + PAD_COVERS, budget_cents=2000)
    made = plan(scenario, time_limit=1e-9)
    for verdict, text in made.verdicts:
        assert verdict.loss_if_barred is None
        assert verdict.loss_if_forced is None
        assert verdict.enters_at_budget is None
        assert not re.search("best kit|No kit|other guards do|would be in|(?<!whether )it is in", text)


NO_NUMBERS = ("guard", "swap", "reason", "kit_if_barred")


def numbers_of(plan: Plan, verdict: Verdict) -> list[float]:
    """Every number that a verdict may speak of."""
    swap = verdict.swap
    own = [getattr(verdict, name) for name in Verdict.__dataclass_fields__ if name not in NO_NUMBERS]
    own.append(verdict.together_pays_back_years if verdict.picked else None)
    of_swap = [swap.saving, -swap.saving, swap.damage_saving, swap.damage_saving - swap.saving, swap.guard.dislike]
    of_swap += [swap.guard.resale_share * swap.guard.price, swap.guard.sells_cents / 100, swap.harm]
    weights = [swap.guard.weight_kg, plan.scenario.max_weight_kg, plan.scenario.years]
    return [abs(number) for number in (*own, *of_swap, *weights) if number is not None]


def numbers_in(text: str, ids: set[str]) -> Iterator[tuple[float, float]]:
    """The numbers of a sentence, ids left out, each with the most that rounding can have changed; spans in years."""
    words = [word.rstrip(",;.") for word in text.split() if word.rstrip(",;.") not in ids]
    for word, after in zip(words, [*words[1:], ""], strict=True):
        if re.fullmatch(r"[\d,]+(\.\d+)?", word):
            unit = 12 if after.startswith("month") else 52 if after.startswith("week") else 1
            decimals = len(word.partition(".")[2])
            yield float(word.replace(",", "")) / unit, (0.5 * 10.0**-decimals + 1e-6) / unit


def every_number_is_the_verdicts(made: Plan) -> None:
    """Match each number of each sentence with one of its verdict."""
    ids = {part.id for part in made.scenario.parts} | made.scenario.guard.keys()
    for verdict, text in made.verdicts:
        for found, rounding in numbers_in(text, ids):
            # Prices at which a guard comes in are rounded down, so that they hold.
            rounding = max(rounding, 0.01)
            assert any(abs(found - number) <= rounding for number in numbers_of(made, verdict)), (found, text)


@pytest.mark.parametrize("name", NAMES)
def test_every_number_in_the_sentences_of_a_shipped_plan_is_the_verdicts(name: str) -> None:
    """Nothing is said that the JSON and the scenario do not hold."""
    every_number_is_the_verdicts(shipped_plan(name))


@pytest.mark.parametrize("aim", ["bills", "outlay", "worst"])
@pytest.mark.parametrize("seed", range(40, 46))
def test_every_number_in_the_sentences_of_a_random_plan_is_the_verdicts(seed: int, aim: str) -> None:
    """Nor with guards forced in and out, whatever the aim."""
    scenario = random_scenario(seed, guards=6, falls_sampled=30)
    names = [one.id for one in scenario.guards]
    for asked in ({}, {"must": names[:1], "budget": 400.0}, {"never": names[:2], "budget": 60.0}):
        try:
            every_number_is_the_verdicts(plan(scenario, aim=aim, **asked))
        except NoKitError:
            assert "must" in asked
