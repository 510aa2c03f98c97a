"""Doubt about every number: what a kit loses if guesses are wrong, and which guess is worth checking before buying.

It imports the planner and what is below it; questions and learning ask it. Start with `sureness`: it draws all guesses
(`doubtful_numbers`, `distributions`), finds and prices the best kit under each draw (`worlds`, `best_kits`,
`draw_pricing`), and asks what knowing a number would be worth (`information`) and where the kit flips (`flips`).
"""
