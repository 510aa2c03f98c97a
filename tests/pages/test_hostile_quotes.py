"""A shop's page in a real browser, with names, notes and titles that would do something if they were let."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from browser import why_not, windows
from folders import write_folder
from shops import write_riders

from guardopt.loading.load import load
from guardopt.loading.rider_sheets import read_sheets
from guardopt.pages.quote_page import Details, quote_page, request_of
from guardopt.shop.shop import Shop

pytestmark = pytest.mark.skipif(bool(why_not()), reason=f"not installed: {why_not()}")

TAKEN = "window.taken=1"

HOSTILE = (
    f"<script>{TAKEN}</script>",
    f"</title></style></script><script>{TAKEN}</script>",
    f"<img src=x onerror={TAKEN}>",
    f"<img src=//example.invalid/x.png onload={TAKEN}>",
    f'" onmouseover="{TAKEN}" autofocus onfocus="{TAKEN}" x="',
    f"' onclick='{TAKEN}' x='",
    f"<svg onload={TAKEN}><animate onbegin={TAKEN} attributeName=x>",
    f"<iframe srcdoc='<script>parent.{TAKEN}</script>'></iframe>",
    f"<a href=javascript:{TAKEN}>press</a>",
    f"<meta http-equiv=refresh content=0;url=javascript:{TAKEN}>",
    "<base href=//example.invalid/><link rel=stylesheet href=//example.invalid/x.css>",
    f"<form action=javascript:{TAKEN}><input autofocus onfocus={TAKEN}><button>press</button></form>",
    f"<style>@import '//example.invalid/x.css';body{{background:url(//example.invalid/y)}}</style><b style='behavior:{TAKEN}'>",
    f"{{{{ 7 * 7 }}}} {{% raw %}} ${{{TAKEN}}} <!-- --> ]]> <![CDATA[",
    f"<details open ontoggle={TAKEN}><template><math><mi xlink:href=javascript:{TAKEN}>",
    f"&lt;script&gt;{TAKEN}&lt;/script&gt; &#60;script&#62;",
)
"""Texts that have got through somewhere: tags, attributes, addresses, styles, templates, entities."""


def page_with(folder: Path, texts: tuple[str, ...]) -> Path:
    """The page of a quote in which texts stand as title, shop, note, rider and way of riding."""
    title, name, note, rider = texts
    bike = replace(load(write_folder(folder / "twin"), {"scenario.sampling.falls": 30}), title=title, warnings=())
    quoted = '"' + rider.replace('"', '""') + '"'
    riders = write_riders(folder / "riders.csv", [f"{quoted},,,,,,,"])
    shop = Shop.of(bike)
    html = quote_page(
        shop, Details(name=name, note=note), request_of(rider, shop, read_sheets(riders)), date(2026, 2, 3)
    )
    (folder / "page.html").write_text(html, encoding="utf-8")
    return folder / "page.html"


@pytest.fixture(scope="module")
def harmless(browser: Any, tmp_path_factory: pytest.TempPathFactory) -> int:
    """How many elements the page has with plain words in these places."""
    path = page_with(tmp_path_factory.mktemp("plain"), ("one", "two", "three", "four"))
    with windows(browser) as opens:
        return int(opens(path).value("document.querySelectorAll('*').length"))


@pytest.mark.parametrize("first", range(0, len(HOSTILE), 4))
def test_whatever_a_shop_or_rider_is_called_is_read_and_never_run(
    first: int, browser: Any, harmless: int, tmp_path: Path
) -> None:
    """The words are seen as typed; no element is added, nothing runs, nothing is fetched and nothing is complained of."""
    texts = HOSTILE[first : first + 4]
    path = page_with(tmp_path, texts)
    with windows(browser) as opens:
        shown = opens(path)
        for selector in ("h1", "h2", "p", "td"):
            for one in shown.page.locator(selector).all()[:6]:
                one.hover(force=True, timeout=2_000) if one.is_visible() else None
        assert shown.value("window.taken") is None
        assert shown.value("document.querySelectorAll('*').length") == harmless
        seen = " ".join(str(shown.value("document.body.textContent")).split())
        for text in texts:
            assert " ".join(text.split()) in seen
        assert shown.asked == [path.as_uri()]
        assert shown.errors == []
