"""From cells to a checked scenario: columns and their ranges, what-ifs, warnings; and tables of riders as text.

It may import `files`, `model` and the modules at the top of the package. All mistakes are told at once.
Start with `load`, the one way in; `checking` builds the scenario from what `part_checking`, `fall_checking`,
`guard_checking` and `point_checking` find right, `columns` says what each row looks like.
"""
