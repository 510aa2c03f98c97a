"""The page of how a bike lies, in a real browser: readable by everybody, on a telephone, without the network."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from browser import TELEPHONE, barriers, why_not, windows
from measured import measured_folder

from guardopt.loading.load import load
from guardopt.questions.measured.touchdown import touchdown

pytestmark = pytest.mark.skipif(bool(why_not()), reason=f"not installed: {why_not()}")


@pytest.fixture(scope="module", params=["left", "right"])
def page(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The measured twin with its bar, on either side."""
    from guardopt.pages.touchdown_page import touchdown_page

    folder = tmp_path_factory.mktemp("page")
    scenario = load(measured_folder(folder / "bike"), {"scenario.sampling.falls": 100})
    path = folder / "lying.html"
    path.write_text(touchdown_page(touchdown(scenario, ["crash_bar"], request.param)), encoding="utf-8")
    return path


def test_nobody_is_kept_from_reading_it(browser: Any, page: Path) -> None:
    """No barrier that axe-core knows, no error, nothing asked for but the file itself."""
    with windows(browser) as opens:
        shown = opens(page)
        assert barriers(shown) == []
        assert shown.errors == []
        assert shown.asked == [page.as_uri()]


def test_it_fits_a_telephone(browser: Any, page: Path) -> None:
    """Nothing has to be scrolled sideways."""
    with windows(browser) as opens:
        shown = opens(page, TELEPHONE)
        assert shown.value("document.documentElement.scrollWidth") <= TELEPHONE


def test_the_wheels_are_at_the_bottom_where_it_is_seen_from_above(browser: Any, page: Path) -> None:
    """Whoever looks down sees the bike as in a side view: saddle above wheels."""
    with windows(browser) as opens:
        shown = opens(page)
        places = shown.value(
            "[...document.querySelectorAll('svg')].slice(-1).map(svg => ['front_tyre', 'tail'].map(name => "
            "[...svg.querySelectorAll('circle')].filter(c => c.textContent === name).map(c => +c.getAttribute('cy'))))[0]"
        )
        tyre, tail = (sum(ys) / len(ys) for ys in places)
        assert tyre > tail
