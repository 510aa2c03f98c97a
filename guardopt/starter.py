"""Something to start from: a small complete scenario, every number in it invented, or a copy of another scenario."""

from __future__ import annotations

import os
from pathlib import Path

from guardopt.cells import SETTINGS_FILE
from guardopt.errors import InputError, Problem
from guardopt.folder_writing import write_folder
from guardopt.spelling import escaped
from guardopt.tables import READING_ORDER

SCENARIO = """\
# A scenario to start from. Every number here and in the tables next to this file is INVENTED: replace them with
# yours, beginning with what the bike is worth, what its parts cost and how often you expect it to go down.
#
# How to fill it in
#   - What follows a # is a note to you and is not read.
#   - Write decimals with a point (12.50), and no thousands separator, currency or percent sign in a number.
#   - The tables are CSV files: open them in a spreadsheet and save them as CSV again, encoded as UTF-8.
#     Commas and semicolons between the columns are both fine. A blank cell means the default, given below in (...).
#   - An id is made of letters, digits, _ and - without spaces. It is what one table calls a row of another.
#   - Then run "guardopt check" on this folder: it lists everything that is wrong in one go.
#
# Guards spare the machine, not the rider. The results are estimates and no better than the numbers you put in. Repairs
# of frame, fork, brakes and steering belong to a qualified mechanic; local rules, the maker's instructions and your
# insurer's terms come first.

title = "My bike (invented numbers)"
currency = "EUR"

[bike]
value = 5200.0           # what the sound bike would sell for
salvage = 1300.0         # what the wreck would fetch for parts (0)

[owner]
years = 4.0              # how long you mean to keep the bike
discount_rate = 0.03     # what money earns in a year: 0.03 is 3 percent (0)
budget = 350.0           # the most to spend on guards now, fitting included (no limit)
max_weight_kg = 8.0      # the most the guards may weigh (no limit)

[labour]
repair_rate = 60.0       # what an hour of the workshop costs for repairs (0)
fitting_rate = 0.0       # what an hour of fitting guards costs; 0 if you fit them yourself (0)

# Comprehensive insurance pays for your own damage above the excess. If you have it, take the first # away from each
# of the next four lines and put your own terms in.
# [insurance]
# excess = 500.0         # what you pay of each claim yourself
# premium_rise = 300.0   # what dearer premiums after one claim add up to (0)
# write_off_share = 0.7  # the insurer gives up the bike when repairs exceed this share of its value (1)

# Hours to take off what is in the way of a group of parts. They are paid once a fall if any part of the group has to
# be replaced. The names are your own; the column strip_down of parts.csv refers to them.
[strip_down]
left_panel = 0.6

[sampling]
falls = 4000             # simulated falls for each kind of fall and side: more is slower and finer (4000)
seed = 1                 # the same seed gives the same simulated falls (1)

# parts.csv: what can get damaged
#   part          an id of your choice
#   side          left, right, centre or both; "both" is one such part on each side
#   price         of the new part
#   hours         of work to replace it (0)
#   break_chance  how likely a damaged part has to be replaced rather than touched up: 0 never, 1 always (1)
#   touch_up      what a touch-up costs when it does not have to be replaced (0)
#   strip_down    the group above that it belongs to (none)
#   x, y          where it is seen from the side, for a drawing: mm forward of the rear axle, above the ground (none)
#
# falls.csv: the kinds of fall
#   fall           an id of your choice
#   per_year       how many you expect in a year; 0.5 is one in two years
#   left_share     the share of them that go to the left (0.5)
#   tumble         how likely the bike goes over onto its other side as well (0)
#   correlation    how strongly damage comes together: 0 part by part, near 1 all or nothing (0.5)
#   watched_years  how many years of riding your per_year rests on; for a rare fall at least 1 / per_year, 100 for
#                  0.01, or a few years without one will seem to say that it never happens (1)
#
# hits.csv: how likely each part is struck, without guards, when the bike lands on its side
#   part, and then one column for each kind of fall, named as in falls.csv
#   A bent frame costs more than the rest is worth, so a head-on crash ends the bike (common practice, no source).
#
# knock_on.csv: a part that breaks and damages another (the file may be left out)
#   part, takes    "part" breaks and strikes "takes" as well
#   chance         how likely it does
#
# guards.csv: what you could buy
#   guard          an id of your choice
#   side           left, right or both (sold singly for each side), pair (sold as a pair), centre
#   price          for one, or for the pair
#   fit_hours      hours to fit it (0)
#   slot           the place it is mounted: two guards cannot share one (none)
#   lasts_falls    how many falls it takes before it has to be renewed (never)
#   renew_price    what renewing it costs (the price)
#   needs          guards it cannot be fitted without, separated by spaces (none)
#   not_with       guards it cannot be fitted together with, separated by spaces (none)
#   owned          yes if it is on the bike already (no)
#   weight_kg      what it weighs (0)
#   dislike        what you would pay not to have to look at it or carry it (0)
#   resale_share   the share of its price you get back at the end (0)
#
# covers.csv: what each guard protects
#   guard          an id from guards.csv, or two joined by + that only protect together
#   part           an id from parts.csv; put .left or .right after it to mean one side only
#   holds          how likely the guard saves a part that would have been damaged
#   fall           the kind of fall it is true for (all)
#
# offers.csv: guards sold together (the file may be left out)
#   offer          an id of your choice
#   guards         the guards in it, separated by spaces; a guard for both sides means the two of them
#   price          for the lot
"""

TABLES = {
    "parts.csv": """\
part,side,price,hours,break_chance,touch_up,strip_down,x,y
bar_end,both,18,0.1,0.3,2,,1120,1040
lever,both,42,0.3,0.5,4,,1240,1035
indicator,both,26,0.3,0.7,0,,1280,840
exhaust,right,390,0.8,0.35,40,,160,420
engine_case,left,210,1.6,0.6,25,left_panel,650,400
water_hose,left,35,0.5,0.8,0,left_panel,980,540
tank,centre,620,1.2,0.4,120,,830,890
fork,centre,880,3.5,0.7,60,,1330,500
frame,centre,2600,25,,,,950,760
""",
    "falls.csv": """\
fall,per_year,left_share,tumble,correlation,watched_years
tip_over,0.5,0.65,,0.4,2
low_side,0.1,0.5,0.05,0.7,10
head_on,0.01,0.5,0.3,0.6,100
""",
    "hits.csv": """\
part,tip_over,low_side,head_on
bar_end,0.7,0.9,0.6
lever,0.45,0.8,0.7
indicator,0.3,0.75,0.5
exhaust,0.3,0.8,0.3
engine_case,0.35,0.7,0.35
water_hose,0.02,0.15,0.3
tank,0.08,0.3,0.5
fork,0,0.06,0.95
frame,0,0.01,1
""",
    "knock_on.csv": """\
part,takes,chance
bar_end,lever,0.15
engine_case,water_hose,0.1
""",
    "guards.csv": """\
guard,side,price,fit_hours,slot,lasts_falls,renew_price,needs,not_with,owned,weight_kg,dislike,resale_share
bar_slider,both,19,0.1,bar_end,3,8,,,no,0.15,,
lever_guard,both,32,0.2,,4,,bar_slider,,no,0.1,5,
engine_bar,pair,185,1.5,engine_mount,,,,,no,4.5,20,0.4
frame_slider,both,48,0.5,engine_mount,2,15,,,no,0.4,,
case_cover,left,95,0.6,,5,,,,no,0.5,,0.2
exhaust_slider,right,39,0.3,,3,12,,,no,0.2,,
""",
    "covers.csv": """\
guard,part,holds,fall
bar_slider,bar_end,0.85,
bar_slider,lever,0.3,tip_over
lever_guard,lever,0.7,
engine_bar,engine_case,0.85,
engine_bar,exhaust,0.4,
engine_bar,indicator,0.3,tip_over
engine_bar,tank,0.5,tip_over
engine_bar,tank,0.35,low_side
frame_slider,engine_case,0.6,
frame_slider,tank,0.3,tip_over
case_cover,engine_case,0.7,
exhaust_slider,exhaust,0.65,
engine_bar + exhaust_slider,exhaust,0.5,low_side
""",
    "offers.csv": """\
offer,guards,price
bar_set,bar_slider lever_guard,89
""",
}


def write_starter(folder: str | os.PathLike[str]) -> None:
    """Write the starter scenario into a new or empty folder, all of it or nothing.

    Raises
    ------
    InputError
        The folder has something in it, is the current one, or cannot be written.
    """
    texts = {SETTINGS_FILE: SCENARIO, **TABLES}
    write_folder({name: text.encode() for name, text in texts.items()}, Path(folder), str(folder))


def copy_scenario(source: str | os.PathLike[str], folder: str | os.PathLike[str]) -> list[str]:
    """Copy the files that a scenario is read from into a new or empty folder, all of them or nothing.

    They are copied byte by byte and not checked; whatever else lies beside them is left where it is.

    Returns
    -------
    list[str]
        The names of the files copied.

    Raises
    ------
    InputError
        There is no scenario to copy or a file of it cannot be read; or the folder has something in it, is the current
        one, or cannot be written.
    """
    path, name = Path(source), escaped(str(source))
    if not path.is_dir():
        message = "is a file, expected the folder of a scenario" if path.exists() else "no such folder"
        raise InputError([Problem(name, message)])
    if not (path / SETTINGS_FILE).is_file():
        raise InputError([Problem(name, f"has no {SETTINGS_FILE}, expected the folder of a scenario")])
    contents: dict[str, bytes] = {}
    problems: list[Problem] = []
    for file in READING_ORDER:
        try:
            contents[file] = (path / file).read_bytes()
        except FileNotFoundError:
            continue
        except OSError as error:
            problems.append(Problem(f"{name}, {file}", f"cannot be read: {(error.strerror or str(error)).lower()}"))
    if problems:
        raise InputError(problems)
    write_folder(contents, Path(folder), str(folder))
    return list(contents)
