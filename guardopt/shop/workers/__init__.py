"""Workers that share jobs which know nothing of each other: processes of this machine, or a running cluster.

Start with `executors`.
"""
