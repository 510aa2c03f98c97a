"""What every column and setting means, in which unit and with which default: for headings of workbooks and for people.

The words stand here once; a test compares their names and defaults with the rows of `columns` and `settings`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Note:
    """What a column or setting means; the default is in words, blank where a value is required."""

    meaning: str
    unit: str = ""
    default: str = ""

    def comment(self) -> str:
        """The note as the comment of a heading."""
        unit = f"\nUnit: {self.unit}." if self.unit else ""
        default = f"\nBlank means: {self.default}." if self.default else ""
        return f"{self.meaning}.{unit}{default}"


_MONEY, _HOURS, _CHANCE, _MM = "money", "hours", "0 to 1, or a word", "mm"

NOTE = Note(
    "Anything you want to remember; it changes no answer. Those of parts, guards and offers are printed", "", "nothing"
)
"""Of the column ``note``, which any table may have."""

COLUMN_NOTES: Mapping[str, Mapping[str, Note]] = {
    "parts": {
        "part": Note("A name of your choice: letters, digits, _ and -; other sheets call the part by it"),
        "side": Note("Where it sits: left, right, centre, or both if there is one on each side"),
        "price": Note("What the new part costs", _MONEY),
        "hours": Note("Work to replace it", _HOURS, "0"),
        "break_chance": Note("How likely a harmed part must be replaced, not touched up", _CHANCE, "always (1)"),
        "touch_up": Note("What it costs if it was harmed but need not be replaced", _MONEY, "0"),
        "strip_down": Note(
            "The group of parts that is reached by the same work; its hours stand among the settings", "", "none"
        ),
        "waits": Note("yes if damage to it does not stop the bike and is put right later, with all else", "", "no"),
        "days": Note("Days without the bike if it breaks, waiting for parts included", "days", "0"),
        "x": Note("Where it is in the drawing of the bike: forward of the rear axle", _MM, "not drawn"),
        "y": Note("Where it is in the drawing of the bike: above the ground", _MM, "not drawn"),
    },
    "falls": {
        "fall": Note("A name for this kind of fall: letters, digits, _ and -"),
        "per_year": Note("How many of them you expect in a year; 0.1 is one in ten years", "falls a year"),
        "left_share": Note("The share that go to the left", "0 to 1", "0.5"),
        "tumble": Note("How likely the other side is struck too", _CHANCE, "never (0)"),
        "correlation": Note(
            "How strongly damage comes together: 0 part by part, near 1 all or nothing", "0 to below 1", "0.5"
        ),
        "watched_years": Note("The years of riding that per_year rests on", "years", "1, a guess"),
        "bite": Note(
            "How far the road reaches past the plane the bike comes to rest on, as a median; only for estimate",
            _MM,
            "not estimated",
        ),
        "bite_spread": Note("How much bite varies: the standard deviation of its logarithm", "", "0.5"),
        "tilt": Note("How far the bike rocks before it comes to rest", "degrees", "3"),
        "speed": Note("How fast it goes when it falls; it slides the further", "km/h", "0"),
        "drag": Note("How strongly the road brakes a sliding bike", "drag factor", "0.5"),
    },
    "hits": {"part": Note("A part of the sheet parts; .left or .right after it means one side")},
    "knock_on": {
        "part": Note("A part that, when it breaks, strikes another"),
        "takes": Note("The part it strikes"),
        "chance": Note("How likely it does", _CHANCE),
    },
    "guards": {
        "guard": Note("A name of your choice: letters, digits, _ and -"),
        "side": Note("left, right or centre; both if sold singly for each side; pair if sold as a pair"),
        "price": Note("For one, or for the pair", _MONEY),
        "price_left": Note("For the left one, if it is sold for both sides at two prices", _MONEY, "price"),
        "price_right": Note("For the right one likewise", _MONEY, "price"),
        "fit_hours": Note("Work to fit it", _HOURS, "0"),
        "slot": Note("The place it is mounted at: one guard at a time", "", "none"),
        "lasts_falls": Note(
            "Falls it takes before it must be renewed", "falls", "never renewed, as what you would ride on with, worn"
        ),
        "renew_price": Note("What renewing it costs", _MONEY, "its price"),
        "needs": Note("Guards it cannot be fitted without, with blanks between", "", "none"),
        "not_with": Note("Guards it cannot be fitted together with, with blanks between", "", "none"),
        "owned": Note("yes if it is on the bike already", "", "no"),
        "weight_kg": Note("What it weighs", "kg", "0"),
        "dislike": Note("What you would pay not to have it on the bike", _MONEY, "0"),
        "resale_share": Note("The share of its price you get back at the end", "0 to 1", "0"),
        "sells_for": Note(
            "What a guard you own fetches now if it comes off; for each side if it is sold for both", _MONEY, "0"
        ),
    },
    "covers": {
        "guard": Note("A guard of the sheet guards; a + b if they protect only together"),
        "part": Note("The part it protects; .left or .right after it means one side"),
        "holds": Note("How likely a part that would have been harmed is spared", _CHANCE),
        "fall": Note("The kind of fall it is true for", "", "all"),
    },
    "exposes": {
        "guard": Note("A guard of the sheet guards that does harm; a + b if only together"),
        "part": Note("The part it drives into the road; .left or .right after it means one side"),
        "chance": Note("How likely a part that would not have been struck is struck with it on", _CHANCE),
        "fall": Note("The kind of fall it is true for", "", "all"),
    },
    "offers": {
        "offer": Note("A name of your choice: letters, digits, _ and -"),
        "guards": Note("The guards in the lot, with blanks between; one for both sides means two of them"),
        "price": Note("For the lot", _MONEY),
    },
    "points": {
        "id": Note("A part, a guard, or a name of your own for what else touches the road, such as a tyre"),
        "forward": Note("Where this point is, forward of the rear axle, bike upright", _MM),
        "out": Note("How far out from the middle of the bike; the right side of one part is negative", _MM),
        "up": Note("How high above the ground", _MM),
        "wears": Note("What is ground off here for each metre slid", _MM, "0"),
        "thick": Note("What there is to grind off here", _MM, "0"),
    },
    "riding": {"riding": Note("A name for this way of riding: letters, digits, _ and -")},
}
"""By table and column; kinds of fall head further columns of ``hits`` and ``riding`` (`FALL_NOTES`)."""

FALL_NOTES: Mapping[str, Note] = {
    "hits": Note("How likely this kind of fall strikes the part on the bare bike, if its side is struck", _CHANCE),
    "riding": Note("How many of these falls this way of riding expects in a year", "falls a year", "as in falls"),
}
"""Of the columns that are headed by kinds of fall, by table."""

SETTING_NOTES: Mapping[str, Mapping[str, Note]] = {
    "": {
        "title": Note("What reports call the bike"),
        "currency": Note("The currency of all money, such as EUR"),
    },
    "bike": {
        "value": Note("What the sound bike would sell for", _MONEY),
        "salvage": Note("What the wreck would fetch for parts", _MONEY, "0"),
    },
    "owner": {
        "years": Note("How long you mean to keep the bike", "years"),
        "discount_rate": Note("What money earns in a year; 0.03 is 3 percent", "a year", "0"),
        "budget": Note("The most to spend on guards now, fitting included", _MONEY, "no limit"),
        "max_weight_kg": Note("The most the guards may weigh", "kg", "no limit"),
        "repair_every": Note("How often what waits is put right", "years", "1"),
        "day_without": Note("What a day without the bike costs: fares, hire, lost work", _MONEY, "0"),
        "recovery": Note("What getting the bike home costs", _MONEY, "0"),
    },
    "labour": {
        "repair_rate": Note("What the workshop takes for an hour of repairs", "money an hour", "0"),
        "fitting_rate": Note("What an hour of fitting guards costs; 0 if you fit them", "money an hour", "0"),
    },
    "insurance": {
        "excess": Note(
            "What you bear of each claim; fill in only if the bike is insured against its own damage",
            _MONEY,
            "not insured",
        ),
        "premium_rise": Note("What dearer premiums after one claim add up to", _MONEY, "0"),
        "write_off_share": Note(
            "The insurer gives the bike up when repairs exceed this share of its value", "0 to 2", "1"
        ),
    },
    "shape": {
        "centre_forward": Note("Centre of mass without rider, forward of the rear axle", _MM, "no points"),
        "centre_up": Note("Centre of mass without rider, above the ground; only with points", _MM, "no points"),
    },
    "strip_down": {},
    "words": {},
    "sampling": {
        "falls": Note("Simulated falls for each kind and side: more is slower and finer", "falls", "4000"),
        "seed": Note("The same seed gives the same simulated falls", "", "1"),
    },
}
"""By table of the settings and key."""

GROUP_NOTE = Note("Hours to reach this group of parts; paid once a fall if any of them must be replaced", _HOURS)
"""Of the keys of ``[strip_down]``, which are the user's own."""

WORD_NOTE = Note("What this word stands for where a chance is written with it", "0 to 1")
"""Of the keys of ``[words]``, which are the user's own as well."""
