"""Quotes written into one file that appears whole or not at all, and gone on with after an interruption.

It may import what `shop` may. Start with `quote_output`, then `journal`, which tells how far an attempt has come.
"""
