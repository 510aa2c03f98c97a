"""Lines and tables keep to eighty columns, and nothing is torn apart or cut off that a reader needs."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pytest

from guardopt.reports.layout import padded, shortened, table, width_of
from guardopt.words import wrapped


@pytest.mark.parametrize(
    ("name", "width", "short"),
    [
        ("tank", 4, "tank"),
        ("engine_case.left", 12, "engine….left"),
        ("a_name_without_a_side", 8, "a_name_…"),
        ("x.a_suffix_longer_than_there_is_room_for", 10, "x.a_suffi…"),
    ],
)
def test_names_are_shortened_before_their_side(name: str, width: int, short: str) -> None:
    """Left and right must not look alike."""
    assert shortened(name, width) == short


@pytest.mark.parametrize("amount", ["EUR 1,234.56", "3 years", "12 %", "± 7.36", "602 ± 3.36", "5 kg", "1 month"])
def test_an_amount_is_not_torn_from_its_unit(amount: str) -> None:
    """Wherever the line would end."""
    for before in range(60, 80):
        lines = wrapped("x" * before + f" {amount} and so on")
        assert any(amount in line for line in lines)
        assert max(map(len, lines)) <= 80


@pytest.mark.parametrize(
    ("above", "rows", "expected"),
    [
        ((), [("a", "1")], ["  part  cost", "  a        1"]),
        ((("", 1), ("in a year", 1)), [("a", "1")], ["        in a year", "  part       cost", "  a             1"]),
    ],
)
def test_tables_are_lined_up_below_their_headings(
    above: Sequence[tuple[str, int]], rows: list[tuple[Any, ...]], expected: list[str]
) -> None:
    """Names to the left, numbers to the right; a heading wider than its columns widens them."""
    assert table(("part", "cost"), rows, above=above) == expected


def test_nothing_in_a_table_that_is_too_wide_is_cut_off() -> None:
    """Headings stand on several lines, then the reason and at length the name; numbers stay on the first line of a row."""
    name, reason = "guard_number_one_of_many_fine_ones.left", "a_rival_of_quite_some_length.left does more"
    rows = [(name, reason, "1,000.00"), ("two", "too dear", "9.00")]
    assert table(("guard", "why", "would save all year"), rows, left=2) == [
        "                                                                           would",
        "                                                                        save all",
        "  guard                              why                                    year",
        "  guard_number_one_of_many_fine_     a_rival_of_quite_some_length.left  1,000.00",
        "  ones.left                          does more",
        "  two                                too dear                               9.00",
    ]


def test_names_in_any_script_line_up_as_a_terminal_shows_them() -> None:
    """Widths of Unicode Standard Annex 11, revision 43 (2024): ideographs and kana are wide, combining marks are none."""
    rows = [("ハンドル", "1"), ("e\u0301tai", "22"), ("ae", "333")]
    lines = table(("part", "cost"), rows)
    assert {width_of(line) for line in lines} == {2 + 8 + 2 + 4}
    assert lines[1:3] == ["  ハンドル     1", "  e\u0301tai        22"]
    assert shortened("前照灯カバー.left", 12) == "前照灯….left"
    assert padded("円", 4, left=True) == "円  "
