"""Single mistakes in the tables of the tiny scenario, and the one line that has to tell each of them.

A mistake is the name of a table, a piece of its text, what stands there instead, and the problem that follows without
the file's name.
"""

AMOUNT = "expected a number of at least 0"
CHANCE = "expected a chance from 0 to 1"

TABLE_MISTAKES = [
    # parts
    ("parts", "both,30", "both,abc", f"line 2, column price: found 'abc', {AMOUNT}"),
    ("parts", "both,30", "both,", f"line 2, column price: nothing found, {AMOUNT}"),
    ("parts", "both,30", "both,-3", f"line 2, column price: found '-3', {AMOUNT}"),
    ("parts", "both,30", "both,inf", f"line 2, column price: found 'inf', {AMOUNT}"),
    ("parts", "both,30", "both,nan", f"line 2, column price: found 'nan', {AMOUNT}"),
    ("parts", "both,30", "both,1_0", f"line 2, column price: found '1_0', {AMOUNT}"),
    ("parts", "both,30", "both,1e300", "line 2, column price: found '1e300', a size that cannot be meant"),
    ("parts", "both,30", 'both,"12,50"', "line 2, column price: found '12,50', a decimal comma: write 12.50"),
    ("parts", "both,30", "both,1 250", "line 2, column price: found '1 250', a thousands separator: write 1250"),
    (
        "parts",
        "both,30",
        "both,1.250",
        "line 2, column price: found '1.250', a point that may divide thousands or decimals: write 1250 or 1.25",
    ),
    (
        "parts",
        "both,30",
        "both,1.250.50",
        "line 2, column price: found '1.250.50', a thousands separator: write 1250.50",
    ),
    (
        "parts",
        "both,30",
        "both,1.205",
        "line 2, column price: found '1.205', a point that may divide thousands or decimals: write 1205 or 1.21",
    ),
    (
        "guards",
        "both,25",
        "both,1.200",
        "line 2, column price: found '1.200', a point that may divide thousands or decimals: write 1200 or 1.20",
    ),
    ("parts", "both,30", "both,€30", "line 2, column price: found '€30', a currency sign: write 30"),
    (
        "parts",
        "0.6,5",
        "40,5",
        f"line 2, column break_chance: found '40', {CHANCE} (a chance is written 0.40, not 40)",
    ),
    ("parts", "0.6,5", "1.5,5", f"line 2, column break_chance: found '1.5', {CHANCE}"),
    ("parts", "0.6,5", "40 %,5", "line 2, column break_chance: found '40 %', a percent sign: write 0.40"),
    (
        "parts",
        "lever,both",
        "lever,nowhere",
        "line 2, column side: found 'nowhere', expected left, right, centre or both",
    ),
    (
        "parts",
        "lever,both",
        "lever,centr",
        "line 2, column side: found 'centr', expected left, right, centre or both; did you mean centre?",
    ),
    ("parts", "lever,both", "lever,pair", "line 2, column side: found 'pair', expected left, right, centre or both"),
    ("parts", "lever,both", "lever,", "line 2, column side: nothing found, expected left, right, centre or both"),
    (
        "parts",
        "90,\n",
        "90,\nfoot peg,both,3,,,,\n",
        "line 6, column part: found 'foot peg', expected an id of letters, digits, _ and -: write foot_peg",
    ),
    (
        "parts",
        "90,\n",
        "90,\npeg.left,left,3,,,,\n",
        "line 6, column part: found 'peg.left', expected an id of letters, digits, _ and -; "
        "the side goes in the column side",
    ),
    (
        "parts",
        "90,\n",
        "90,\n,both,3,,,,\n",
        "line 6, column part: nothing found, expected an id of letters, digits, _ and -",
    ),
    (
        "parts",
        "90,\n",
        "90,\nlever,both,3,,,,\n",
        "line 6, column part: found 'lever' again, first in parts.csv, line 2",
    ),
    ("parts", "part,side,price", "part,side,prise", "line 1, column prise: unknown column; did you mean price?"),
    (
        "parts",
        "price,hours",
        "price,zebra",
        "line 1, column zebra: unknown column; known: part, side, price, hours, break_chance, touch_up, strip_down, waits, days, x, y",
    ),
    (
        "parts",
        "left_fairing",
        "left_faring",
        "line 3, column strip_down: found 'left_faring', expected a key of [strip_down]; did you mean left_fairing?",
    ),
    (
        "parts",
        "strip_down\nlever,both,30,0.2,0.6,5,\n",
        "strip_down,x,y\nlever,both,30,0.2,0.6,5,,1250,\n",
        "line 2, column y: nothing found beside x, expected both or neither",
    ),
    (
        "parts",
        "strip_down\nlever,both,30,0.2,0.6,5,\n",
        "strip_down,y\nlever,both,30,0.2,0.6,5,,1045\n",
        "line 2, column x: nothing found beside y, expected both or neither",
    ),
    (
        "parts",
        "strip_down\nlever,both,30,0.2,0.6,5,\n",
        "strip_down,x,y\nlever,both,30,0.2,0.6,5,,12500,1045\n",
        "line 2, column x: found '12500', expected a number of millimetres from -5000 to 5000",
    ),
    # falls
    ("falls", "0.6,0.6", "-1,0.6", f"line 2, column per_year: found '-1', {AMOUNT}"),
    ("falls", "0.6,0.6", "0.6,1.2", "line 2, column left_share: found '1.2', expected a share from 0 to 1"),
    ("falls", ",0.05,", ",5,", f"line 3, column tumble: found '5', {CHANCE} (a chance is written 0.05, not 5)"),
    ("falls", "0.4,5", "1,5", "line 2, column correlation: found '1', expected a correlation from 0 to below 1"),
    ("falls", "0.4,5", "0.4,0", "line 2, column watched_years: found '0', expected a number above 0"),
    ("falls", "fall,per_year", "fall,peryear", "line 1, column peryear: unknown column; did you mean per_year?"),
    (
        "falls",
        ",,5\n",
        ",,5\nlow_side,1,,,,\n",
        "line 4, column fall: found 'low_side' again, first in falls.csv, line 3",
    ),
    (
        "falls",
        ",,5\n",
        ",,5\npart,1,,,,\n",
        "line 4, column fall: found 'part', which heads another column of hits.csv",
    ),
    # hits
    ("hits", "0.5,0.8", "0.5,", f"line 2, column low_side: nothing found, {CHANCE}"),
    ("hits", "0.5,0.8", "0.5,80", f"line 2, column low_side: found '80', {CHANCE} (a chance is written 0.80, not 80)"),
    ("hits", "part,tip_over", "part,tipover", "line 1, column tipover: unknown column; did you mean tip_over?"),
    (
        "hits",
        "low_side\n",
        "low_side,zebra\n",
        "line 1, column zebra: falls.csv has no such fall, only tip_over, low_side; put its row back, with per_year 0 "
        "if you never fall that way, or delete this column",
    ),
    ("hits", "lever,", "levr,", "line 2, column part: found 'levr', expected a part of parts.csv; did you mean lever?"),
    ("hits", "0.05,0.2\n", "0.05,0.2\n,1,1\n", "line 6, column part: nothing found, expected a part of parts.csv"),
    ("hits", "0.05,0.2\n", "0.05,0.2\ntank,1,1\n", "line 6, column part: found tank again, first in hits.csv, line 5"),
    (
        "hits",
        "0.05,0.2\n",
        "0.05,0.2\nlever.left,1,1\n",
        "line 6, column part: found lever.left again, first in hits.csv, line 2",
    ),
    (
        "hits",
        "lever,0.5,0.8\n",
        "lever.left,0.5,0.8\nlever.right,1,1\nlever.centre,1,1\n",
        "line 4, column part: found 'lever.centre', but lever has no such side; "
        "expected lever, lever.left or lever.right",
    ),
    ("hits", "tank,", "tank.left,", "line 5, column part: found 'tank.left', but tank has no such side; expected tank"),
    # knock-ons
    (
        "knock_on",
        "radiator,tank",
        "radiator,tnk",
        "line 2, column takes: found 'tnk', expected a part of parts.csv; did you mean tank?",
    ),
    ("knock_on", "0.1", "", f"line 2, column chance: nothing found, {CHANCE}"),
    (
        "knock_on",
        "0.1\n",
        "0.1\nradiator,tank,1\n",
        "line 3: found radiator takes tank again, first in knock_on.csv, line 2",
    ),
    (
        "knock_on",
        "radiator,tank",
        "tank,tank",
        "line 2: found a loop, tank takes tank; expected knock-ons that come to an end",
    ),
    (
        "knock_on",
        "0.1\n",
        "0.1\ntank,lever,1\nlever,radiator,1\n",
        "line 4: found a loop, radiator takes tank takes lever.left takes radiator; "
        "expected knock-ons that come to an end",
    ),
    # guards
    (
        "guards",
        "guard,both,25",
        "guard,middle,25",
        "line 2, column side: found 'middle', expected left, right, both, pair or centre",
    ),
    (
        "guards",
        ",no,",
        ",perhaps,",
        "line 3, column owned: found 'perhaps'; write yes or no (blank means no)",
    ),
    ("guards", ",no,", ",x,", "line 3, column owned: found 'x'; write yes or no (blank means no)"),
    ("guards", "bar,5,12", "bar,0,12", "line 2, column lasts_falls: found '0', expected a number above 0"),
    ("guards", "bar,5,12", "bar,1e-300,12", "line 2, column lasts_falls: found 1e-300, too small to be meant"),
    ("guards", ",20,0.3", ",20,1.3", "line 3, column resale_share: found '1.3', expected a share from 0 to 1"),
    ("guards", ",no,4,", ",no,-4,", f"line 3, column weight_kg: found '-4', {AMOUNT}"),
    (
        "guards",
        ",4,40,,,,",
        ",4,40,crashbar,,,",
        "line 4, column needs: found 'crashbar', expected a guard of guards.csv; did you mean crash_bar?",
    ),
    (
        "guards",
        ",4,40,,,,",
        ",4,40,crash_bar.left,,,",
        "line 4, column needs: found 'crash_bar.left', but crash_bar has no such side; expected crash_bar",
    ),
    (
        "guards",
        ",4,40,,,,",
        ",4,40,case_cover,,,",
        "line 4, column needs: found 'case_cover', expected another guard than the one of this row",
    ),
    (
        "guards",
        ",4,40,,,,",
        ",4,40,,case_cover,,",
        "line 4, column not_with: found 'case_cover', expected another guard than the one of this row",
    ),
    (
        "guards",
        ",4,40,,,,",
        ',4,40,"crash_bar, lever_guard",,,',
        "line 4, column needs: found 'crash_bar, lever_guard', ids are separated by spaces",
    ),
    (
        "guards",
        ",4,40,,,,",
        ",4,40,crash_bar crash_bar,,,",
        "line 4, column needs: found 'crash_bar crash_bar', crash_bar is named twice",
    ),
    (
        "guards",
        ",4,40,,,,",
        ",4,40,crash_bar,,yes,",
        "line 4, column owned: case_cover is owned but what it needs is not: crash_bar",
    ),
    (
        "guards",
        ",4,40,,,,",
        ",4,40,lever_guard.right,,yes,",
        "line 4, column owned: case_cover is owned but what it needs is not: a guard that is not on offer for its side",
    ),
    # covers
    (
        "covers",
        "lever_guard,lever",
        "lever_gard,lever",
        "line 2, column guard: found 'lever_gard', expected a guard of guards.csv; did you mean lever_guard?",
    ),
    (
        "covers",
        "lever_guard,lever",
        "lever_guard,levr",
        "line 2, column part: found 'levr', expected a part of parts.csv; did you mean lever?",
    ),
    (
        "covers",
        "lever,0.7",
        "lever,70",
        f"line 2, column holds: found '70', {CHANCE} (a chance is written 0.70, not 70)",
    ),
    (
        "covers",
        "low_side",
        "lowside",
        "line 4, column fall: found 'lowside', expected a fall of falls.csv; did you mean low_side?",
    ),
    (
        "covers",
        "low_side",
        "all",
        "line 4, column fall: found 'all', expected a fall of falls.csv; leave it blank for all falls",
    ),
    (
        "covers",
        "radiator,0.6,\n",
        "radiator,0.6,\ncase_cover + crash_bar,engine_case,1,tip_over\n",
        "line 8: found case_cover + crash_bar for engine_case again, first in covers.csv, line 6",
    ),
    (
        "covers",
        "radiator,0.6,\n",
        "radiator,0.6,\nlever_guard.left,lever,1,\n",
        "line 8: found lever_guard.left for lever.left again, first in covers.csv, line 2",
    ),
    (
        "covers",
        "crash_bar + case_cover",
        "crash_bar +",
        "line 6, column guard: found 'crash_bar +', expected a guard, or guards joined by +",
    ),
    (
        "covers",
        "crash_bar + case_cover",
        "crash_bar case_cover",
        "line 6, column guard: found 'crash_bar case_cover', expected a guard, or guards joined by +",
    ),
    (
        "covers",
        "crash_bar + case_cover",
        "crash_bar + crash_bar",
        "line 6, column guard: found 'crash_bar + crash_bar', crash_bar is named twice",
    ),
    # offers
    ("offers", "210", "", f"line 2, column price: nothing found, {AMOUNT}"),
    ("offers", "crash_bar case_cover", "", "line 2, column guards: nothing found, expected ids separated by spaces"),
    (
        "offers",
        "crash_bar case_cover",
        "crashbar case_cover",
        "line 2, column guards: found 'crashbar', expected a guard of guards.csv; did you mean crash_bar?",
    ),
    (
        "offers",
        "210\n",
        "210\nengine_set,crash_bar lever_guard,200\n",
        "line 3, column offer: found 'engine_set' again, first in offers.csv, line 2",
    ),
]
