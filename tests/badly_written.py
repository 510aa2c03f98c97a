"""Cells and files as people write them who have not read the manual, and what is said to each; all invented.

A cell is a table, a piece of its text, what stands there instead, and the message; None if what is meant is clear and
taken. Settings likewise, without a table. Notations are those of daily life; no source.
"""

from __future__ import annotations

POINT = "a point that may divide thousands or decimals"
COMMA = "a comma that may divide thousands or decimals"
DATE = "spreadsheets make dates of numbers, so format the cells as numbers first"
ONE_FIFTH = "perhaps from typing 1/5"
FORMAT = "format the cell as a number and write"
WORDS = "never, rarely, sometimes, as often as not, often, almost always or always"
A_YEAR = "(a number a year: once in 4 years is 0.25)"

PRICES = [
    ("450,-", "found '450,-', a dash in the place of cents: write 450"),
    ("450.-", "found '450.-', a dash in the place of cents: write 450"),
    ("450,--", "found '450,--', a dash in the place of cents: write 450"),
    ("1.250,-", "found '1.250,-', a dash in the place of cents: write 1250"),
    ("30 €", "found '30 €', a currency sign: write 30"),
    ("€30", "found '€30', a currency sign: write 30"),
    ("$ 1,250.00", "found '$ 1,250.00', a currency sign and a thousands separator: write 1250.00"),
    ("EUR 30", "found 'EUR 30', a currency sign: write 30"),
    ("30,50 EUR", "found '30,50 EUR', a currency sign and a decimal comma: write 30.50"),
    ("30,50", "found '30,50', a decimal comma: write 30.50"),
    ("1.200", f"found '1.200', {POINT}: write 1200 or 1.20"),
    ("1,200", f"found '1,200', {COMMA}: write 1200 or 1.20"),
    ("1'200", "found '1'200', a thousands separator: write 1200"),
    ("1 200,50", "found '1 200,50', a thousands separator and a decimal comma: write 1200.50"),
    ("1.200,50", "found '1.200,50', a thousands separator and a decimal comma: write 1200.50"),
    ("1.200.000", "found '1.200.000', a thousands separator: write 1200000"),
    ("ca. 30", "found 'ca. 30', a word or sign before the number: write 30"),
    ("about 30", "found 'about 30', a word or sign before the number: write 30"),
    ("~30", "found '~30', a word or sign before the number: write 30"),
    ("<30", "found '<30', a word or sign before the number: write 30"),
    ("20-40", "found '20-40', a range (its middle will do): write 30"),
    ("20 – 40", "found '20 – 40', a range (its middle will do): write 30"),
    ("20 to 40", "found '20 to 40', a range (its middle will do): write 30"),
    ("20 bis 40", "found '20 bis 40', a range (its middle will do): write 30"),
    ("1/2", "found '1/2', a fraction: write 0.5"),
    ("½", "found '½', a fraction: write 0.5"),
    ("1 in 10 years", "found '1 in 10 years', a number in words: write 0.1"),
    ("once in about 8 years", "found 'once in about 8 years', a number in words: write 0.125"),
    ("3 out of 4", "found '3 out of 4', a number in words: write 0.75"),
    ("1 in 0", "found '1 in 0', expected a number of at least 0"),
    ("01.05.2026", f"found '01.05.2026', a date: write 1.5; {DATE}"),
    ("1.5.", f"found '1.5.', a date: write 1.5; {DATE}"),
    ("2026-05-01", f"found '2026-05-01', a date, {ONE_FIFTH}: {FORMAT} 0.2 (or 1.5 or 5.1 if that was meant)"),
    ("5/1/2026", f"found '5/1/2026', a date, {ONE_FIFTH}: {FORMAT} 0.2 (or 1.5 or 5.1 if that was meant)"),
    ("1980-01-01", f"found '1980-01-01', a date, perhaps from typing 1/80: {FORMAT} 0.0125 (or 1.1 if that was meant)"),
    ("06:00", f"found '06:00', a time of day: write 0.25; {DATE}"),
    ("1. Mai", f"found '1. Mai', a date; {DATE}"),
    ("1-May-2026", f"found '1-May-2026', a date; {DATE}"),
    ("'30", "found ''30', an apostrophe before it: write 30"),
    ("−30", "found '−30', a dash that is not a minus, expected a number of at least 0"),
    ("=15*2", "found '=15*2', a formula, expected its value"),
    ("#REF!", "found '#REF!', an error of the spreadsheet, expected a value"),
    ("#DIV/0!", "found '#DIV/0!', an error of the spreadsheet, expected a value"),
    ("Err:502", "found 'Err:502', an error of the spreadsheet, expected a value"),
    ("3O", "found '3O', a letter that looks like a digit: write 30"),
    ("30 each", "found '30 each', a word behind the number: write 30"),
    ("30 pro Stück", "found '30 pro Stück', a word behind the number: write 30"),
    ("thirty", "found 'thirty', expected a number of at least 0"),
    ("0x1e", "found '0x1e', expected a number of at least 0"),
    ("30 40", "found '30 40', expected a number of at least 0"),
    ("-30", "found '-30', expected a number of at least 0"),
    ("30.", None),
    ("+30", None),
    ("3e1", None),
    (".5", None),
]
"""What may stand in a column of prices."""

CELLS = [
    ("parts", "30,0.2,", "30,12 min,", "found '12 min', minutes, of which an hour has 60: write 0.2"),
    (
        "parts",
        "30,0.2,",
        "30,0:12,",
        f"found '0:12', a time of day, perhaps from typing 0:12: {FORMAT} 0.2 (or 0.0083333 if that was meant)",
    ),
    ("parts", ",0.6,5", ",2025-04-01,5", f"found '2025-04-01', a date, perhaps from typing 1/4: {FORMAT} 0.25"),
    (
        "parts",
        ",0.6,5",
        ",01.05.2026,5",
        f"found '01.05.2026', a date, expected a chance from 0 to 1; {DATE}",
    ),
    ("parts", "30,0.2,", "30,2h,", "found '2h', a word behind the number: write 2"),
    ("parts", ",0.6,5", ",60%,5", "found '60%', a percent sign: write 0.60"),
    ("parts", ",0.6,5", ",140%,5", "found '140%', a percent sign, expected a chance from 0 to 1"),
    (
        "parts",
        ",0.6,5",
        ",60,5",
        "found '60', expected a chance from 0 to 1 (a chance is written 0.60, not 60)",
    ),
    (
        "parts",
        ",0.6,5",
        ",n/a,5",
        "found 'n/a', expected a chance from 0 to 1, or a word such as never, rarely, sometimes, as often as not, "
        "often, almost always or always; "
        "leave the cell blank if there is nothing to say",
    ),
    (
        "parts",
        ",0.6,5",
        ",0.6,-",
        "found '-', expected a number of at least 0; leave the cell blank if there is nothing to say",
    ),
    ("parts", ",0.6,5", ",Usually,5", None),
    ("parts", "lever,both", "lever,BOTH", None),
    ("parts", "tank,centre", "tank,center", None),
    ("parts", "tank,centre", "tank,middle", "found 'middle', expected left, right, centre or both"),
    ("guards", ",no,4", ",FALSE,4", None),
    ("guards", ",no,4", ",N,4", None),
    ("guards", ",no,4", ",nope,4", "found 'nope'; write yes or no (blank means no)"),
    ("hits", "lever,0.5", "lever,as often as not", None),
    ("hits", "lever,0.5", "lever,As_Often_As_Not", None),
    ("hits", "lever,0.5", "lever,ofen", "found 'ofen', expected a chance from 0 to 1; did you mean often?"),
    ("hits", "lever,0.5", "lever,mostly", f"found 'mostly', expected a chance from 0 to 1, or a word such as {WORDS}"),
    ("falls", "tip_over,0.6", "tip_over,rarely", f"found 'rarely', expected a number of at least 0 {A_YEAR}"),
    (
        "falls",
        "tip_over,0.6",
        "tip_over,about once a year",
        f"found 'about once a year', expected a number of at least 0 {A_YEAR}",
    ),
    ("falls", "0.4,5", "100,5", "found '100', expected a correlation from 0 to below 1"),
    (
        "falls",
        "0.4,5",
        "40,5",
        "found '40', expected a correlation from 0 to below 1 (a correlation is written 0.40, not 40)",
    ),
    (
        "covers",
        "crash_bar + case_cover,",
        "crash_bar & case_cover,",
        "found 'crash_bar & case_cover', expected a guard, or guards joined by +",
    ),
]
"""Other cells of tables."""

SETTINGS = [
    (
        '"Small twin (invented)"',
        "“Small twin”",
        'line 1: cannot be read: it has curly quotation marks; write straight ones, "like this"',
    ),
    ('"EUR"', "‘EUR’", 'line 2: cannot be read: it has curly quotation marks; write straight ones, "like this"'),
    ('"EUR"', "EUR", 'line 2: cannot be read: expected a number, or text in quotation marks, "like this"'),
    ('"EUR"', '"EUR', "line 2: cannot be read: a quotation mark is missing at the end of the text"),
    ("years = 3.0", "years = 4 Jahre", "line 9: cannot be read: it has a word behind the number: write 4"),
    ("years = 3.0", "years = 4 years", "line 9: cannot be read: it has a word behind the number: write 4"),
    ("years = 3.0", "years = 01.05.2026", "line 9: cannot be read: it has a date: write 1.5"),
    ("budget = 300.0", "budget = 450,-", "line 11: cannot be read: it has a dash in the place of cents: write 450"),
    ("budget = 300.0", "budget = 450,00", "line 11: cannot be read: it has a decimal comma: write 450.00"),
    ("budget = 300.0", "budget = € 450", "line 11: cannot be read: it has a currency sign: write 450"),
    ("discount_rate = 0.03", "discount_rate = 3 %", "line 10: cannot be read: it has a percent sign: write 0.03"),
    ("value = 4000.0", "value = 4'000", "line 5: cannot be read: it has a thousands separator: write 4000"),
    ("value = 4000.0", "value = 04000", "line 5: cannot be read: a number does not begin with 0"),
    (
        "years = 3.0",
        "years: 3",
        "line 9: cannot be read: a key and its value are joined by =, as in years = 3; the name of a table stands in "
        "brackets, [owner]",
    ),
    (
        "years = 3.0",
        "years =",
        "line 9: cannot be read: nothing stands behind the =; leave the line out for the default",
    ),
    (
        "years = 3.0",
        "years = 3.0 ; bought used",
        "line 9: cannot be read: something stands behind the value; a comment begins with #",
    ),
    ("years = 3.0", "Years = 3.0", "line 9, [owner] Years: unknown key; did you mean years?"),
    ("years = 3.0", "years = 3.0\nyeers = 4.0", "line 10, [owner] yeers: unknown key; years is there already"),
]
"""Lines of the settings."""
