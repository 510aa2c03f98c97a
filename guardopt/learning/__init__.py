"""What logs of real falls teach: beliefs brought up to date, and what that does to the best kit.

It may import `loading`, `files`, `questions` and what is below them.
Start with `learn`, then `posterior`; `learned_folder` writes what was learned as a new scenario.
"""
