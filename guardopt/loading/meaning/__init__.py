"""What the text of a cell is taken for: words for chances, decimal commas, columns scaled; and what is refused.

It may import `files`, `model` and `loading.columns`. Start with `row_checking`.
"""
