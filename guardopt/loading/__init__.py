"""From cells to a checked scenario and back: columns and their ranges, what-ifs, warnings, the starter.

It may import `files`, `model` and the modules at the top of the package. All mistakes are told at once.
Start with `load`, the one way in; `checking` builds the scenario, `columns` says what each row looks like.
"""
