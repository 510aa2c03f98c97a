"""In which months to buy and sell what while saving up: courses of buying, searched and bounded.

May import `optimization`, `cuts`, `simulation`, `model` and the modules at the top.

Start with `best_course`, then `course_search` (kits listed: dynamic programming over what has been bought), `lots` and
`joint_lots` (what is bought together), `on_offer` (what can be bought and sold), `month_bounds` (where kits are too
many), `multi_period` (stated in PuLP, nothing being sold).
"""
