"""The browser that tests of pages share: two at once cannot be driven from one process."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from browser import started


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """One browser for all tests of pages that a process runs."""
    with started() as running:
        yield running
