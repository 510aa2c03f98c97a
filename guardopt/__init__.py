"""Which crash guards to buy for a motorcycle before the next fall, and why.

One idea carries the package: simulate the falls once; then every question is a small integer program over the same
facts. The letters used throughout:

======  ==============================================================================================
symbol  meaning
======  ==============================================================================================
x_i     1 if guard i is on the bike, else 0; x is the kit
f, λ_f  a kind of fall, and how many are expected a year
p_fi    chance that part i, if exposed, is struck in a fall of kind f on the bare bike
ρ       correlation of the strikes within one fall
S, ε_i  standard normal: how hard the fall is, shared by all parts, and the part's own luck
k, c_k  an item of a fall (a part harmed, a group stripped down) and its cost
r       a root of an item: a strike from the road that brings it about
j, g(j) a cover that holds against a strike, and the guard of it that is chosen for a fact
C_f     expected owner's cost of one fall, min(repair bill, cap)
R_f     expected renewals after one fall
θ_g     cost of a group of falls, bounded from below by facts
ā       present value of one unit of money a year for the years the bike is kept
======  ==============================================================================================
"""

from __future__ import annotations

import lazy_loader

__version__ = "0.1.0"

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
