"""Plans and quotes as single HTML files; their templates are in the folder `templates` beside this one.

It may import `reports` and all below. `budget_slider` shows the budget curve in a live notebook.
Start with `plan_page`, then `page_tables` and `page_steps`, which say in words what the template shows.
"""
