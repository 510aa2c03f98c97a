"""What falls cost at least with any kit: optimality cuts, and every kit listed where there are few.

May import `simulation`, `model` and the modules at the top; knows no program and no solver.

Start with `optimality_cuts` (what a cut says) and `cut_finder` (cuts at a kit, exact there), then `tail_cuts` (the same
about the worst falls), `knapsack_bound` and `lifting` (what makes cuts tighter where the cap binds), `separation` (cuts
at any point, kept for the next question), `enumeration` (every kit with a bound on its cost).
"""
