"""One rider's quote as a page: what it costs, from whom, and until when; wrong input is named at once."""

from __future__ import annotations

import re
from datetime import date
from html import unescape
from pathlib import Path

import pytest
from click.testing import CliRunner

from guardopt.cli.commands import main
from guardopt.errors import InputError
from guardopt.loading.rider_sheets import read_sheets
from guardopt.loading.shop_details import Details, read_details
from guardopt.pages.quote_page import quote_page, request_of
from guardopt.shop.quotes import quote
from guardopt.shop.shop import Shop
from guardopt.shop.shop_folder import open_shop

SHOP = Path(__file__).parents[2] / "scenarios" / "shop"
TODAY = date(2026, 2, 3)


def small_shop() -> Shop:
    """The shipped shop on few falls."""
    return open_shop(SHOP, {"scenario.sampling.falls": 100}, lambda _: None)


@pytest.fixture(scope="module")
def page() -> str:
    """The quote for one rider of the shipped shop."""
    pytest.importorskip("jinja2")
    pytest.importorskip("matplotlib")
    shop = small_shop()
    details = Details(name="Corner <Garage> (invented)", note="Bring & fetch.", valid_days=14)
    html = quote_page(shop, details, request_of("rider_002", shop, read_sheets(SHOP / "riders.csv")), TODAY)
    return html.replace("\u00a0", " ")


def cells(page: str) -> list[list[str]]:
    """The lines of the quote."""
    section = page.split('<section class="quote"')[1].split("</section>")[0]
    rows = re.findall(r"<tr[^>]*>(.*?)</tr>", section)
    return [[unescape(re.sub("<[^>]*>", "", cell)) for cell in re.split("</t[hd]>", row)[:-1]] for row in rows]


def test_page_says_who_quotes_for_whom_and_until_when(page: str) -> None:
    """Fourteen days after the third of February is the seventeenth; what the shop writes is escaped."""
    assert "Quote for rider_002" in page
    assert "Corner &lt;Garage&gt; (invented)" in page
    assert "Bring &amp; fetch." in page
    assert 'Date: <time datetime="2026-02-03">' in page
    assert 'until <time datetime="2026-02-17">' in page


def test_lines_are_prices_fitting_time_and_fitting_and_add_up(page: str) -> None:
    """Each guard's price and hours are those of guards.csv, and the total is price and fitting less offers."""
    shop = small_shop()
    scenario = shop.load("roadster")
    head, *rows = cells(page)
    assert head == ["guard", "price without fitting", "hours", "fitting"]
    lines = [row for row in rows if row[0] not in ("together", "offers taken")]
    by_price = {(f"EUR {guard.price:.2f}", f"{guard.fit_hours:g} h") for guard in scenario.guards}
    assert lines
    assert all((row[1], row[2]) in by_price for row in lines)

    def amount(text: str) -> float:
        return float(text.replace("EUR ", "").replace("−", "-").replace(",", ""))

    together = next(row for row in rows if row[0] == "together")
    assert amount(together[1]) == pytest.approx(sum(amount(row[1]) for row in lines))
    assert amount(together[3]) == pytest.approx(sum(amount(row[3]) for row in lines))
    offers = sum(amount(row[1]) for row in rows if row[0] == "offers taken")
    total = amount(re.findall(r"Total: ([^<]*)<", page)[0])
    assert total == pytest.approx(amount(together[1]) + amount(together[3]) + offers)


def test_page_offers_what_the_table_of_quotes_does(page: str) -> None:
    """The same guards at the same total as ``quote`` gives this rider among the others."""
    import pandas as pd

    riders = pd.read_csv(SHOP / "riders.csv", dtype=str, keep_default_na=False).iloc[[1]]
    shop = small_shop()
    row = quote({name: shop.load(name) for name in shop.names}, riders).iloc[0]
    assert f"Total: EUR {row['spend']:.2f}" in page
    assert len([one for one in cells(page)[1:] if one[0] not in ("together", "offers taken")]) == len(
        row["buy"].split()
    )


def test_command_writes_the_page_into_a_folder(tmp_path: Path) -> None:
    """The folder is made, the page has the rider's name, and a second run takes its place."""
    pytest.importorskip("matplotlib")
    command = ["quote", str(SHOP), str(SHOP / "riders.csv"), "--falls", "40", "--rider", "rider_002"]
    for _ in range(2):
        result = CliRunner().invoke(main, [*command, "--page", str(tmp_path / "out")], catch_exceptions=False)
        assert result.exit_code == 0
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["rider_002.html"]
    assert "Example Workshop (invented)" in (tmp_path / "out" / "rider_002.html").read_text(encoding="utf-8")


def test_the_page_of_another_rider_is_never_replaced(tmp_path: Path) -> None:
    """What stands under the name that a rider's page would have, but is another's, is left alone and named."""
    pytest.importorskip("matplotlib")
    page = tmp_path / "rider_002.html"
    command = ["quote", str(SHOP), str(SHOP / "riders.csv"), "--falls", "40", "--page", str(tmp_path)]
    assert CliRunner().invoke(main, [*command, "--rider", "rider_003"], catch_exceptions=False).exit_code == 0
    (tmp_path / "rider_003.html").rename(page)
    before = page.read_bytes()
    result = CliRunner().invoke(main, [*command, "--rider", "rider_002"])
    assert isinstance(result.exception, InputError)
    assert str(page) in str(result.exception)
    assert page.read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == [page.name]


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (["--rider", "rider_002"], "--rider: needs --page to say where the quote is to go"),
        (["--page", "out"], "--page: needs --rider to say whose quote it is"),
        (["--rider", "nobody", "--page", "out"], "rider: no rider is called 'nobody'"),
        (["--rider", "..", "--page", "out"], "rider: no rider is called '..'"),
        (
            ["--rider", "rider_002", "--page", "out", "-o", "q.csv"],
            "--out: cannot go with --rider: its quote is a page",
        ),
    ],
)
def test_wrong_options_are_named_and_nothing_is_written(
    options: list[str], message: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One message for each, and no folder."""
    monkeypatch.chdir(tmp_path)
    result = CliRunner().invoke(main, ["quote", str(SHOP), str(SHOP / "riders.csv"), *options])
    assert isinstance(result.exception, InputError)
    assert message in str(result.exception).splitlines()
    assert list(tmp_path.iterdir()) == []


def test_everything_wrong_in_the_shops_file_is_named_at_once(tmp_path: Path) -> None:
    """Four mistakes, four messages; a file that is not there is no mistake."""
    (tmp_path / "shop.toml").write_text("nam = 'A'\nname = 3\nnote = true\nvalid_days = 0\n")
    with pytest.raises(InputError) as caught:
        read_details(tmp_path)
    assert str(caught.value).splitlines() == [
        "shop.toml, line 1, nam: unknown key; name is there already",
        "shop.toml, line 2, name: found 3, expected one line of text",
        "shop.toml, line 3, note: found true, expected one line of text",
        "shop.toml, line 4, valid_days: found 0, expected a whole number of days from 1 to 3650",
    ]
    (tmp_path / "shop.toml").write_text("name = ")
    with pytest.raises(InputError, match=r"shop\.toml: cannot be read"):
        read_details(tmp_path)
    assert read_details(tmp_path / "nowhere") == Details()


def test_a_name_that_two_riders_have_is_refused(tmp_path: Path) -> None:
    """It would be chance which of them got the quote."""
    riders = tmp_path / "riders.csv"
    riders.write_text("rider,bike,budget\nann,roadster,100\nann,roadster,200\n")
    with pytest.raises(InputError, match=r"found on riders\.csv, line 2, riders\.csv, line 3, expected one"):
        request_of("ann", small_shop(), read_sheets(riders))
