"""Many riders at once: quotes, the kits to keep ready, and the workers that share the work.

It may import `loading`, `files`, `questions` and what is below them.
Start with `quotes`, then `rider_curves`, the budget curves that answer all riders; `assortment` chooses ready kits.
"""
