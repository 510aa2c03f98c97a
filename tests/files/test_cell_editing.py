"""Single cells of a CSV file change; every other character stays."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from guardopt.files.cell_editing import CsvText


def edited(text: str, *changes: tuple[int, str, str]) -> str:
    """The text with some cells set."""
    csv_text = CsvText(text)
    for line, column, value in changes:
        csv_text.set(line, column, value)
    return csv_text.text()


@pytest.mark.parametrize(
    ("text", "line", "after"),
    [
        ("a,b\n1,2\n", 2, "a,b\n1,9\n"),
        ("a,b\r\n1,2\r\n", 2, "a,b\r\n1,9\r\n"),
        ("a;b\n1;2", 2, "a;b\n1;9"),
        ("b,a\n2,1\n", 2, "b,a\n9,1\n"),
        ("a,b\n\n,\n1,2\n", 4, "a,b\n\n,\n1,9\n"),
        ('a,b\n"1, or more","2"\n', 2, 'a,b\n"1, or more","9"\n'),
        ('a, "b" \n1 , 2 \n'.replace('"b" ', '"b"'), 2, 'a, "b"\n1 , 9 \n'),
        ('a,b\n"two\nlines",2\nx,3\n', 4, 'a,b\n"two\nlines",2\nx,9\n'),
        ("a,b\n1\n", 2, "a,b\n1,9\n"),
        ("a,b\n1,\n", 2, "a,b\n1,9\n"),
        ("a\n1\n", 2, "a,b\n1,9\n"),
        ("a,c,b\n1\n", 2, "a,c,b\n1,,9\n"),
        ("a,,\n1,,\n", 2, "a,b,\n1,9,\n"),
        ('a,"b"\n"say ""hi""",2\n', 2, 'a,"b"\n"say ""hi""",9\n'),
    ],
)
def test_one_cell_changes_and_nothing_else(text: str, line: int, after: str) -> None:
    """Separators, quotation marks, blanks, blank rows and line ends stay; a missing cell or column is added."""
    assert edited(text, (line, "b", "9")) == after


def test_without_a_change_the_text_is_the_same() -> None:
    """To the last blank."""
    text = 'a ; "b";\r\n\r\n 1;"x;y" ;\r\n'
    assert edited(text) == text


def test_several_cells_of_several_rows() -> None:
    """In any order, a new column among them."""
    text = "a,b\n1,2\n3,4\n"
    assert edited(text, (3, "c", "8"), (2, "b", "7"), (3, "a", "6")) == "a,b,c\n1,7\n6,4,8\n"


CELLS = st.text(alphabet=st.sampled_from('ab1 ,;"é'), max_size=6)


@given(
    rows=st.lists(st.lists(CELLS, min_size=3, max_size=3), min_size=1, max_size=5),
    separator=st.sampled_from(",;"),
    line_end=st.sampled_from(["\n", "\r\n"]),
    data=st.data(),
)
def test_a_reader_finds_the_new_value_and_all_the_old_ones(
    rows: list[list[str]], separator: str, line_end: str, data: st.DataObject
) -> None:
    """Whatever is in the other cells, written by a spreadsheet's rules."""
    out = io.StringIO()
    writer = csv.writer(out, delimiter=separator, lineterminator=line_end)
    writer.writerows([["first", "second", "third"], *(["x", *row[1:]] for row in rows)])
    row = data.draw(st.integers(0, len(rows) - 1))
    column = data.draw(st.sampled_from(["second", "third"]))
    after = edited(out.getvalue(), (row + 2, column, "0.25"))
    read = list(csv.DictReader(io.StringIO(after, newline=""), delimiter=separator))
    for index, (found, old) in enumerate(zip(read, rows, strict=True)):
        expected = {"first": "x", "second": old[1], "third": old[2]}
        if index == row:
            expected[column] = "0.25"
        assert {key: text.strip() for key, text in found.items()} == {
            key: text.strip() for key, text in expected.items()
        }
