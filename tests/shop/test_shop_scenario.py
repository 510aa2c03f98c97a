"""The shipped shop: two invented bikes, three ways of riding, two hundred riders, and a quote for each of them."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from guardopt import load, quote
from guardopt.loading.shop_details import read_details
from guardopt.model.scenario import Scenario

SHOP = Path(__file__).parents[2] / "scenarios" / "shop"
BIKES = ("dual_purpose", "roadster")


@pytest.fixture(scope="module")
def bikes() -> dict[str, Scenario]:
    """The bikes on few falls."""
    return {name: load(SHOP / name, {"scenario.sampling.falls": 100}) for name in BIKES}


@pytest.fixture(scope="module")
def riders() -> pd.DataFrame:
    """The riders as written."""
    return pd.read_csv(SHOP / "riders.csv", dtype=str, keep_default_na=False)


def test_the_shop_is_sound_and_says_that_it_is_invented(bikes: dict[str, Scenario], riders: pd.DataFrame) -> None:
    """No bike has a warning; titles and the shop's name say that nothing is real."""
    assert all(scenario.warnings == () for scenario in bikes.values())
    assert all("invented" in scenario.title for scenario in bikes.values())
    assert "invented" in read_details(SHOP).name
    assert {len(scenario.ridings) for scenario in bikes.values()} == {3}
    assert len(riders) == 200
    assert riders["rider"].is_unique


def test_every_rider_gets_a_quote_within_the_budget(bikes: dict[str, Scenario], riders: pd.DataFrame) -> None:
    """Two hundred quotes, none above its budget, and none that costs more than it did without."""
    quotes = quote(bikes, riders)
    assert list(quotes["rider"]) == list(riders["rider"])
    assert set(quotes["status"]) == {"quoted"}
    limits = pd.to_numeric(riders["budget"].replace({"none": "inf"}), errors="coerce")
    assert (quotes["spend"][limits.notna()] <= limits[limits.notna()] + 1e-9).all()
    assert quotes["spend"].sum() > 0.0
    for name, some in quotes.groupby("bike"):
        assert set(" ".join(some["kit"]).split()) <= set(bikes[str(name)].guard)
