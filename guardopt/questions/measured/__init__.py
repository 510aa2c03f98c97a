"""Questions about bikes that were measured: how they come to lie, and what chances follow from that.

They may import `shape` besides what other questions may. Start with `touchdown`.
"""
