"""Everything that can be asked about one bike: each question asks the planner and returns a frozen result.

It may import `optimization`, `simulation`, `model` and the modules at the top of the package, but opens no files.
Start with `bench`, which holds what questions share, then `plan`, the main question.
"""
