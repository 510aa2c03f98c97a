"""Falls drawn at random and kits priced on them: every cost that any question rests on is worked out here.

It may import `model` and the modules at the top of the package, so it knows no program and no file.
Start with `sampling` (falls drawn), then `pricing` (what a kit costs, exactly); `reduction` makes falls smaller,
by the items and `roots` of each.
"""
