"""Why each guard is in a kit or not: its verdict, what it does beside the rest of the kit, and the sentence for it.

Start with `verdicts`.
"""
