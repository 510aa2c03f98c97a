"""New scenarios as folders or workbooks: starters, copies, and what was estimated from points.

May import `loading`, `files`, `model`, `shape` and the modules at the top.

Start with `scenario_writing` (one scenario in either form), then `starter`, `estimated_folder` and `column_notes`.
"""
