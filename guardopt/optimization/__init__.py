"""The best kit, proven: a tree over the guards whose nodes are closed by safe bounds alone.

May import `cuts`, `simulation`, `model` and the modules at the top. Nothing that a solver says is believed unchecked.

Start with `benders` (the planner that every question is put to), then `question` and `tree`, `linear_rows` (the safe
bound), `measures` (what can be least), `sample_average` (the numbers that come from the sample); `master_problem` and
`second_opinion` ask another solver through PuLP.
"""
