"""Many riders at once: quotes, the kits to keep ready, and the workers that share the work.

It may import `loading`, `files`, `questions` and what is below them.
Start with `quotes`, then `quote_lookup` and `rider_curves`, the budget curves that answer all riders; `output` writes
quotes to a file, `assortment` chooses ready kits.
"""
