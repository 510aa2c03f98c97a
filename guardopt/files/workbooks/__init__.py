"""Workbooks (.xlsx, .ods): read as the same cells as a folder of tables, surveyed for what would be lost, written.

Start with `reading`; `survey` looks into the archive (`zip_archive`) for what the reading library turns into blanks in
silence.
"""
