"""How a bike comes to lie, and which parts the road then reaches: geometry and chances from measured points.

What lives here computes from points, a centre of mass and random draws alone; it reads no files and knows no money.
It may import what a scenario is made of (`model`) and the modules at the top of the package.
Start at `rest.rest`, the place of rest, then `rocking.strikes`, what is struck in a fall; `estimating` turns such
chances into rows of a scenario.
"""
