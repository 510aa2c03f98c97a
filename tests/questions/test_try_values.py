"""What-ifs on a scenario at hand, and grids of them that share whatever the question leaves as it was."""

from __future__ import annotations

import pickle
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from folders import SMALL_TWIN, write_folder
from random_scenarios import price_every_kit, random_limits, random_scenario, sample_of
from shipped import FOLDER

from guardopt.errors import InputError, NoKitError
from guardopt.loading.load import load
from guardopt.model.aims import AIMS, Aim, Limits, aim_named
from guardopt.model.scenario import Scenario
from guardopt.questions.bench import Bench
from guardopt.questions.plan import NO_LIMIT, plan
from guardopt.questions.try_values import same_falls, try_values

TERMS = {
    "scenario.owner.years": [1, 5],
    "scenario.owner.discount_rate": [0, 0.1],
    "scenario.owner.budget": [60, 250],
    "falls.low_side.per_year": [0.05, 2],
    "falls.low_side.watched_years": [1, 9],
    "guards.crash_bar.price": [40, 500],
    "guards.crash_bar.fit_hours": [0, 3],
    "guards.crash_bar.dislike": [0, 200],
    "guards.crash_bar.resale_share": [0, 0.9],
    "guards.crash_bar.owned": ["yes", "no"],
    "guards.lever_guard.price": [5, 90],
    "guards.lever_guard.lasts_falls": [1, 20],
    "guards.lever_guard.renew_price": [0, 40],
    "scenario.labour.fitting_rate": [0, 80],
    "offers.engine_set.price": [100, 235],
    "scenario.title": ["Other twin (invented)"],
}
"""What a fall costs, renewals aside, does not hang on any of these."""

FALLS_THEMSELVES = {
    "hits.lever.low_side": [0.1, 0.9],
    "covers.crash_bar.holds": [0.2, 0.9],
    "parts.tank.price": [50, 900],
    "parts.tank.break_chance": [0.1, 0.9],
    "falls.low_side.tumble": [0, 0.5],
    "falls.low_side.left_share": [0.1, 0.9],
    "falls.tip_over.correlation": [0, 0.9],
    "scenario.bike.value": [1000, 9000],
    "scenario.insurance.excess": [200, 600],
    "scenario.labour.repair_rate": [10, 90],
    "scenario.strip_down.left_fairing": [0, 3],
    "scenario.sampling.seed": [2, 3],
    "scenario.sampling.falls": [100, 150],
    "knock_on.radiator.chance": [0, 0.9],
    "guards.crash_bar.slot": ["bar", "engine_mount"],
    "guards.crash_bar.weight_kg": [1, 9],
    "guards.case_cover.needs": ["crash_bar"],
}
"""These change which falls are drawn, what they cost, or which kits there are."""


@pytest.fixture
def twin(tmp_path: Path) -> Scenario:
    """The small twin."""
    return load(write_folder(tmp_path / "twin"))


def problems_of(error: InputError) -> list[str]:
    """The problems as lines."""
    return [str(problem) for problem in error.problems]


class TestOneChange:
    """`Scenario.change` is what `--change` is on the command line."""

    @pytest.mark.parametrize("address", [*TERMS, *FALLS_THEMSELVES])
    def test_changing_is_the_same_as_loading_with_the_change(
        self, twin: Scenario, tmp_path: Path, address: str
    ) -> None:
        """The scenario at hand is changed as the folder would be, and stays what it was itself."""
        value = {**TERMS, **FALLS_THEMSELVES}[address][0]
        assert twin.change({address: value}) == load(tmp_path / "twin", {address: value})
        assert twin == load(tmp_path / "twin")

    def test_changes_stack(self, twin: Scenario, tmp_path: Path) -> None:
        """A changed scenario can be changed again, and back; the files are not needed any more."""
        both = load(tmp_path / "twin", {"parts.tank.price": 1, "falls.low_side.per_year": 3})
        for file in (tmp_path / "twin").iterdir():
            file.unlink()
        changed = twin.change({"parts.tank.price": 1}).change({"falls.low_side.per_year": 3})
        assert changed == both
        assert changed.change({"parts.tank.price": 500, "falls.low_side.per_year": 0.2}) == twin
        assert twin.change({}) == twin

    def test_everything_wrong_is_told_at_once(self, twin: Scenario) -> None:
        """Addresses that fit nowhere, values out of range and what no longer fits together."""
        with pytest.raises(InputError) as caught:
            twin.change({"fals.low_side.per_year": 1, "parts.tank.price": -1, "guards.case_cover.needs": "crash_br"})
        assert problems_of(caught.value) == [
            "change fals.low_side.per_year: unknown file 'fals'; did you mean falls?",
            "change parts.tank.price: found '-1', expected a number of at least 0",
            "change guards.case_cover.needs: found 'crash_br', expected a guard of guards.csv; did you mean crash_bar?",
        ]

    def test_what_becomes_odd_is_warned_of(self, tmp_path: Path) -> None:
        """Warnings are those of the changed scenario, and what was odd about the files stays odd."""
        folder = write_folder(tmp_path / "twin", offers=None)
        (folder / "offer.csv").write_text(SMALL_TWIN["offers"])
        scenario = load(folder)
        assert [str(warning.where) for warning in scenario.warnings] == ["offer.csv"]
        changed = scenario.change({"knock_on.radiator.chance": 0})
        assert [str(warning.where) for warning in changed.warnings] == [
            "offer.csv",
            "change knock_on.radiator.chance",
        ]

    def test_a_scenario_made_by_hand_has_no_cells_to_change(self) -> None:
        """There is no table in which to look an address up."""
        with pytest.raises(InputError, match="made by hand"):
            random_scenario(1, own_costs=False).change({"scenario.owner.years": 3})

    def test_what_was_put_into_the_object_is_not_lost_without_a_word(self, twin: Scenario) -> None:
        """An edit that passed the cells by would be undone by the next change, so that one is refused."""
        with pytest.raises(InputError, match="no longer as it was read"):
            replace(twin, years=9.0).change({"parts.tank.price": 1})

    def test_where_a_scenario_comes_from_is_no_part_of_it(self, twin: Scenario) -> None:
        """Two scenarios are equal whatever they were made of, and a copy can be changed like the first."""
        assert replace(twin, source=None) == twin
        assert "source" not in repr(twin)
        copied = pickle.loads(pickle.dumps(twin))  # noqa: S301
        assert copied.change({"parts.tank.price": 1}) == twin.change({"parts.tank.price": 1})


class TestGrid:
    """`try_values` answers as if every point had been asked by itself."""

    @pytest.mark.parametrize("aim", ["bills", "outlay", "worst"])
    @pytest.mark.parametrize("address", TERMS)
    def test_points_with_the_same_falls_share_them_and_come_out_as_they_do_alone(
        self, twin: Scenario, address: str, aim: str
    ) -> None:
        """Sharing sample and facts saves time and changes no answer."""
        table = try_values(twin, {address: TERMS[address]}, aim=aim)
        assert table["reused"].tolist() == [row > 0 for row in range(len(TERMS[address]))]
        compare_with_each_alone(twin, table, [address], aim)

    @pytest.mark.parametrize("address", FALLS_THEMSELVES)
    def test_a_point_whose_falls_differ_gets_falls_of_its_own(self, twin: Scenario, address: str) -> None:
        """Nothing is shared that does not hold any more."""
        table = try_values(twin, {address: FALLS_THEMSELVES[address]})
        assert not table["reused"].any()
        compare_with_each_alone(twin, table, [address], "bills")

    @pytest.mark.parametrize("name", ["courier"])
    def test_shipped_scenarios_come_out_the_same_with_and_without_sharing(self, name: str) -> None:
        """Rates, years, a budget and a price at once, with insurance, offers and guards owned already."""
        scenario = load(FOLDER / name, {"scenario.sampling.falls": 150})
        fall, guard = scenario.falls[0].id, scenario.guards[0].row
        grid: dict[str, list[object]] = {
            f"falls.{fall}.per_year": [0.2, 6],
            "scenario.owner.years": [1, 6],
            "scenario.owner.budget": [120, ""],
            f"guards.{guard}.price": [1, 80],
        }
        table = try_values(scenario, grid)
        assert table["reused"].sum() == len(table) - 1
        compare_with_each_alone(scenario, table, list(grid), "bills")

    def test_rows_follow_the_grid_whatever_is_shared(self, twin: Scenario) -> None:
        """The last change goes round fastest; a sample is made once for all points that it serves."""
        table = try_values(twin, {"scenario.owner.years": [1, 2], "parts.tank.price": [100, 900]})
        assert table["scenario.owner.years"].tolist() == [1, 1, 2, 2]
        assert table["parts.tank.price"].tolist() == [100, 900, 100, 900]
        assert table["reused"].tolist() == [False, False, True, True]
        compare_with_each_alone(twin, table, ["scenario.owner.years", "parts.tank.price"], "bills")

    def test_a_workbench_brings_its_falls_along(self, twin: Scenario) -> None:
        """What was simulated before serves the first point as well."""
        bench = Bench(twin)
        assert try_values(bench, {"scenario.owner.years": [1, 2]})["reused"].tolist() == [True, True]
        assert try_values(bench, {"parts.tank.price": [1]})["reused"].tolist() == [False]

    def test_no_changes_are_a_grid_of_one_point(self, twin: Scenario) -> None:
        """The scenario as it is."""
        table = try_values(twin, {})
        assert len(table) == 1
        compare_with_each_alone(twin, table, [], "bills")

    def test_a_kit_is_told_by_how_it_differs_from_the_first(self, twin: Scenario) -> None:
        """First kit, less what was dropped, with what was added."""
        table = try_values(twin, {"scenario.owner.budget": [0, 60, 150, 300]})
        assert table.loc[0, ["added", "dropped"]].tolist() == [[], []]
        assert table["kit"].map(len).iloc[-1] > 0
        for _, row in table.iterrows():
            assert set(row["kit"]) == set(table["kit"].iloc[0]) - set(row["dropped"]) | set(row["added"])

    def test_savings_are_against_the_bike_as_it_stands(self, twin: Scenario) -> None:
        """A guard that is owned counts on both sides."""
        table = try_values(twin, {"guards.crash_bar.owned": ["no", "yes"]}, budget=0)
        assert table["kit"].tolist() == [[], ["crash_bar"]]
        assert table["saving_over_years"].tolist() == [0.0, 0.0]
        assert table["cost_over_years"][0] > table["cost_over_years"][1]

    def test_a_plan_agrees_but_for_its_fresh_falls(self, twin: Scenario) -> None:
        """The same kit and spend; cost to within a few standard errors, since a plan prices on falls of its own."""
        table = try_values(twin, {"scenario.owner.years": [3]})
        made = plan(twin)
        assert set(table["kit"][0]) == made.kit
        assert table["spend"][0] == made.spend
        assert table["saving_over_years"][0] == pytest.approx(made.saving_over_years, rel=0.25)

    def test_a_budget_holds_at_every_point(self, twin: Scenario) -> None:
        """As a keyword it stands for that of the scenario, and infinity lifts it."""
        bound = try_values(twin, {"scenario.owner.years": [3, 8]}, budget=60)
        free = try_values(twin, {"scenario.owner.years": [3, 8]}, budget=NO_LIMIT)
        assert (bound["spend"] <= 60).all()
        assert (free["cost_over_years"] < bound["cost_over_years"]).all()

    def test_guards_are_forced_at_every_point(self, twin: Scenario) -> None:
        """An id without a side stands for all its sides."""
        table = try_values(twin, {"scenario.owner.years": [1, 3]}, must=["lever_guard"], never=["crash_bar"])
        for kit in table["kit"]:
            assert {"lever_guard.left", "lever_guard.right"} <= set(kit)
            assert "crash_bar" not in kit

    def test_a_point_without_a_kit_is_named(self, twin: Scenario) -> None:
        """So that the grid can be put right."""
        with pytest.raises(NoKitError, match=r"\(at scenario.owner.budget=1\)"):
            try_values(twin, {"scenario.owner.budget": [300, 1]}, must=["crash_bar"])


def compare_with_each_alone(scenario: Scenario, table: Any, addresses: list[str], aim: str) -> None:
    """Every row is as good as the answer found for its point alone, and costs and spends what it says."""
    for _, row in table.iterrows():
        changed = scenario.change({address: row[address] for address in addresses})
        kit = frozenset(row["kit"])
        planner = Bench(changed).planner
        best = planner.best(aim_named(aim), Limits(changed.budget_cents))
        measure = aim_named(aim).measures[0]
        assert planner.measure(measure, kit) == pytest.approx(best.objective, rel=2e-6)
        assert row["spend"] == changed.spend_cents(kit) / 100
        cost = planner.measure("cost", kit) - changed.dislike(kit)
        assert row["cost_over_years"] == pytest.approx(cost)
        assert row["yearly_cost"] * changed.annuity == pytest.approx(cost)
        stock = planner.measure("cost", changed.stock) - changed.dislike(changed.stock)
        assert row["saving_over_years"] == pytest.approx(stock - cost, abs=1e-6)
        assert row["status"] == "optimal"


class TestMistakes:
    """A grid is checked whole before anything is computed."""

    def test_all_mistakes_of_all_points_are_told_once_each(
        self, twin: Scenario, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """A wrong address is wrong at every point and told once; nothing is simulated for it."""
        monkeypatch.setattr(Bench, "with_terms", lambda *_: pytest.fail("simulated before all was checked"))
        grid: Mapping[str, list[object]] = {
            "fals.low_side.per_year": [1, 2],
            "parts.tank.price": [1, -1, "x"],
            "scenario.owner.years": [2, 0],
        }
        with pytest.raises(InputError) as caught:
            try_values(twin, grid)
        assert sorted(problems_of(caught.value)) == [
            "change fals.low_side.per_year: unknown file 'fals'; did you mean falls?",
            "change parts.tank.price: found '-1', expected a number of at least 0",
            "change parts.tank.price: found 'x', expected a number of at least 0",
            "change scenario.owner.years: found '0', expected a number above 0",
        ]

    def test_options_are_checked_together(self, twin: Scenario) -> None:
        """Each is told with what was expected."""
        with pytest.raises(InputError) as caught:
            try_values(
                twin,
                {"scenario.owner.years": "123", "parts.tank.price": 5, "scenario.owner.budget": []},  # type: ignore[dict-item]
                budget=-1,
                aim="bill",
                time_limit=0,
            )
        assert problems_of(caught.value) == [
            "scenario.owner.years: found '123', expected a list of values to try",
            "parts.tank.price: found 5, expected a list of values to try",
            "scenario.owner.budget: found no values, expected at least one to try",
            "budget: found -1, expected an amount of at least 0",
            "budget: would leave scenario.owner.budget without effect; expected one of the two",
            "aim: found 'bill', expected one of bills, outlay, worst",
            "time_limit: found 0, expected seconds above 0",
        ]

    def test_unknown_guards_are_told(self, twin: Scenario) -> None:
        """Once, with the nearest known one."""
        with pytest.raises(InputError) as caught:
            try_values(twin, {"scenario.owner.years": [1, 2]}, must=["crash_br"])
        assert problems_of(caught.value) == ["must: no guard 'crash_br' in this scenario; did you mean crash_bar?"]


class TestSharing:
    """Facts found under some terms hold under others."""

    @pytest.mark.parametrize("seed", range(8))
    def test_the_best_kit_under_other_terms_is_that_of_all_kits(self, seed: int) -> None:
        """Random scenarios with everything about guards but what they cover changed, against every kit there is."""
        scenario = random_scenario(seed, own_costs=False)
        bench = Bench(scenario)
        bench.planner.best_or_none(Aim.BILLS, Limits(scenario.budget_cents))
        bench.planner.best(Aim.BILLS, Limits(scenario.budget_cents))
        other = with_other_terms(scenario, np.random.default_rng([seed, 3]))
        assert same_falls(scenario, other)
        shared = bench.with_terms(other)
        assert shared.sample is bench.sample
        every = price_every_kit(other, sample_of(other))
        limits = random_limits(other, seed)
        for aim in AIMS.values():
            least = every.least(aim, limits)
            untied = shared.planner.best_or_none(aim, limits)
            if least is None:
                assert untied is None
                continue
            assert untied is not None
            for best in (untied, shared.planner.best(aim, limits)):
                assert best.objective == pytest.approx(least, rel=2e-6, abs=2e-6)
                assert every.of(aim, best.kit) == pytest.approx(best.objective)
        assert bench.planner.best(Aim.BILLS, Limits(scenario.budget_cents)).objective == pytest.approx(
            Bench(scenario).planner.best(Aim.BILLS, Limits(scenario.budget_cents)).objective, rel=2e-6
        )

    @pytest.mark.parametrize("seed", range(4))
    def test_what_a_budget_reaches_hangs_on_the_new_prices(self, seed: int) -> None:
        """Guards that were out of reach and became cheap are seen to bring capped falls down, and the other way."""
        cheap = replace(random_scenario(seed, own_costs=False), value=400.0, salvage=100.0)
        dear = replace(
            cheap,
            guards=tuple(replace(guard, price_cents=40 * guard.price_cents) for guard in cheap.guards),
            offers=(),
        )
        limits = Limits(20_000)
        for first, second in ((dear, cheap), (cheap, dear)):
            every = price_every_kit(second, sample_of(second))
            best = Bench(first).with_terms(second).planner.best(Aim.BILLS, limits)
            assert best.bound <= every.of(Aim.BILLS, best.kit) + 1e-6
            assert best.objective == pytest.approx(every.least(Aim.BILLS, limits), rel=2e-6)

    @pytest.mark.parametrize("seed", range(6))
    def test_questions_in_turn_do_not_disturb_each_other(self, seed: int) -> None:
        """Two benches that share falls are asked alternately for ever larger budgets; each knows only its own terms."""
        scenario = replace(random_scenario(seed, own_costs=False), value=700.0, salvage=100.0)
        other = with_other_terms(scenario, np.random.default_rng([seed, 4]))
        bench = Bench(scenario)
        bench.planner.best_or_none(Aim.BILLS, Limits(0, must=scenario.stock))
        both = [(bench, scenario), (bench.with_terms(other), other)]
        every = [price_every_kit(one, sample_of(one)) for _, one in both]
        for cents in range(0, 40_000, 2500):
            for (asked, _), known in zip(both, every, strict=True):
                best = asked.planner.best_or_none(Aim.BILLS, Limits(cents))
                assert best is not None
                assert best.objective == pytest.approx(known.least(Aim.BILLS, Limits(cents)), rel=2e-6)
                assert best.objective == pytest.approx(known.of(Aim.BILLS, best.kit))

    def test_whatever_is_not_known_to_leave_falls_alone_counts(self) -> None:
        """A change of the parts, the covers or the bike's worth is never taken for one of terms."""
        scenario = random_scenario(4, own_costs=False)
        for other in (
            replace(scenario, value=scenario.value + 1),
            replace(scenario, repair_rate=41.0),
            replace(scenario, seed=99),
            replace(scenario, covers=scenario.covers[1:]),
            replace(scenario, parts=(replace(scenario.parts[0], price=1.5), *scenario.parts[1:])),
            replace(scenario, falls=(replace(scenario.falls[0], tumble=0.11), *scenario.falls[1:])),
            replace(scenario, guards=(replace(scenario.guards[0], weight_kg=9.0), *scenario.guards[1:])),
        ):
            assert not same_falls(scenario, other)


def with_other_terms(scenario: Scenario, rng: np.random.Generator) -> Scenario:
    """The scenario with other rates, years, money and guards' prices, wear and owners, drawn at random."""
    wear_changes = rng.random() < 0.5
    guards = tuple(
        replace(
            guard,
            price_cents=int(rng.integers(100, 15_000)),
            fit_cents=int(rng.integers(0, 2000)),
            wear_per_fall=float(rng.uniform(0, 20)) if wear_changes else guard.wear_per_fall,
            dislike=float(rng.choice([0.0, 30.0])),
            resale_share=float(rng.choice([0.0, 0.5])),
        )
        for guard in scenario.guards
    )
    return replace(
        scenario,
        years=float(rng.integers(1, 9)),
        discount_rate=float(rng.choice([0.0, 0.08])),
        falls=tuple(replace(fall, per_year=float(rng.uniform(0.0, 3.0))) for fall in scenario.falls),
        guards=guards,
        offers=tuple(replace(offer, price_cents=int(rng.integers(100, 9000))) for offer in scenario.offers),
    )
