"""``python -m guardopt``."""

from guardopt.cli import run

run()
