"""Why a plan's kit is best, written to a file (`writing`), and checked again without the search (`audit`).

`writing` knows the search; `format`, `exponential`, `audit` and all that begins with its name share nothing with it:
they may import `simulation.sampling`, `model` and the modules at the top alone.

Start with `format` (what stands in a proof), then `audit`, which reads like the definition.
"""
