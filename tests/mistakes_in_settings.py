"""Single mistakes in the settings of the tiny scenario, and the one line that has to tell each of them.

A mistake is a piece of text, what stands there instead, and the problem that follows without the file's name.
"""

AMOUNT = "expected a number of at least 0"

SETTINGS_MISTAKES = [
    ("years = 3.0", "yeers = 3.0", "line 9, [owner] yeers: unknown key; did you mean years?"),
    ("[owner]", "[ower]", "line 8: unknown table [ower]; did you mean owner?"),
    (
        "[sampling]",
        "[zebra]",
        "line 19: unknown table [zebra]; known: bike, owner, labour, insurance, sampling, shape, strip_down, words",
    ),
    (
        "budget = 300.0",
        "budget = 1.300",
        "line 11, [owner] budget: found 1.300, a point that may divide thousands or decimals: write 1300 or 1.30",
    ),
    ("years = 3.0\n", "", "line 8, [owner] years: nothing found, expected a number above 0"),
    ("years = 3.0", "years = 0", "line 9, [owner] years: found 0, expected a number above 0"),
    ("years = 3.0", "years = true", "line 9, [owner] years: found true, expected a number above 0"),
    ("years = 3.0", "years = inf", "line 9, [owner] years: found inf, expected a number above 0"),
    ("years = 3.0", "years = nan", "line 9, [owner] years: found nan, expected a number above 0"),
    ("years = 3.0", "years = [3]", "line 9, [owner] years: found '[3]', expected a number above 0"),
    ("years = 3.0", 'years = "3,5"', "line 9, [owner] years: found '3,5', a decimal comma: write 3.5"),
    ("years = 3.0", "years = 1e99", "line 9, [owner] years: found 1e+99, a size that cannot be meant"),
    (
        "discount_rate = 0.03",
        "discount_rate = 3",
        "line 10, [owner] discount_rate: found 3, expected a rate from 0 to below 1 (a rate is written 0.03, not 3)",
    ),
    ("budget = 300.0", "budget = -1", f"line 11, [owner] budget: found -1, {AMOUNT}"),
    ("budget = 300.0", 'budget = "300 €"', "line 11, [owner] budget: found '300 €', a currency sign: write 300"),
    ("budget = 300.0", "value = 300.0", "line 11, [owner] value: unknown key; it belongs in the table [bike]"),
    ("budget = 300.0", 'title = "x"', "line 11, [owner] title: unknown key; it belongs above the first table"),
    ('"EUR"', '""', "line 2, currency: nothing found, expected one line of text"),
    ('"EUR"', "5", "line 2, currency: found 5, expected one line of text"),
    ('"EUR"', r'"EU\nR"', r"line 2, currency: found 'EU\nR', expected one line of text"),
    ('currency = "EUR"\n', "", "currency: nothing found, expected one line of text"),
    (
        'currency = "EUR"\n\n[bike]\nvalue = 4000.0\nsalvage = 800.0',
        'currency = "EUR"\nbike = 1',
        "line 3, bike: found 1, expected a table [bike]",
    ),
    (
        "salvage = 800.0",
        "salvage = 8000.0",
        "line 6, [bike] salvage: found 8000, expected at most the value of the sound bike, 4000",
    ),
    ("repair_rate = 50.0", "repair_rate = -50.0", f"line 14, [labour] repair_rate: found -50.0, {AMOUNT}"),
    ("left_fairing = 0.8", "left_fairing = -0.8", f"line 17, [strip_down] left_fairing: found -0.8, {AMOUNT}"),
    (
        "left_fairing = 0.8",
        '"right fairing" = 1\nleft_fairing = 0.8',
        "[strip_down] right fairing: found 'right fairing', expected an id of letters, digits, _ and -: write right_fairing",
    ),
    ("falls = 200", "falls = 0", "line 20, [sampling] falls: found 0, expected a whole number from 1 to 1000000"),
    ("falls = 200", "falls = 2.5", "line 20, [sampling] falls: found 2.5, expected a whole number from 1 to 1000000"),
    ("seed = 1", "seed = -1", "line 21, [sampling] seed: found -1, expected a whole number of at least 0"),
    (
        "[sampling]",
        "[insurance]\n[sampling]",
        f"line 19, [insurance] excess: nothing found, {AMOUNT}",
    ),
    (
        "[sampling]",
        "[insurance]\nexcess = 1\nwrite_off_share = 70\n[sampling]",
        "line 21, [insurance] write_off_share: found 70, expected a share above 0 and not above 2",
    ),
]
