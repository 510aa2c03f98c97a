"""Answers in words, tables and figures, for a terminal and for notebooks.

It may import whatever gives answers (`shop`, `learning`, `questions`) and what is below; it computes nothing.
Start with `layout`, then `plan_text`; figures are in `plots`.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(__name__, submodules=["plots"])
