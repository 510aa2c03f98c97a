"""What a scenario is, by rules alone: parts, falls, guards, aims, and what follows from them without simulation.

Money is in whole cents where it is spent or compared. It imports only the modules at the top of the package.
Start with `scenario`; what it is made of is in `pieces`, what a kit can be best at in `aims`.
"""
