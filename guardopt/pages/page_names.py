"""Which file a rider's quote goes to: names stay apart, and no rider's page is put in the place of another's."""

from __future__ import annotations

import re
from hashlib import sha256
from pathlib import Path

from guardopt.errors import InputError, Problem
from guardopt.pages.plan_page import LOOKED_AT, check_target
from guardopt.spelling import escaped, shown

PLAIN = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,59}")
"""Names of riders that are names of files as they are, on any system."""

_LIKE_A_DIGEST = re.compile(r".*-[0-9a-f]{16}", re.DOTALL)
_DEVICE = re.compile(r"con|prn|aux|nul|com[0-9]|lpt[0-9]", re.IGNORECASE)
_LONGEST_STEM = 40


def page_name(rider: str) -> str:
    """The name of the file for a rider's quote.

    Any name that is not plain has a digest behind what can be read of it, so that no two riders share a file.

    >>> page_name("anna-7"), page_name("a/b"), page_name("a b")
    ('anna-7.html', 'a_b-c14cddc033f64b9d.html', 'a_b-c8687a08aa5d6ed2.html')
    """
    if PLAIN.fullmatch(rider) and not _LIKE_A_DIGEST.fullmatch(rider) and not _DEVICE.fullmatch(rider):
        return f"{rider}.html"
    stem = re.sub(r"[^A-Za-z0-9_-]", "_", rider)[:_LONGEST_STEM].lstrip("-") or "_"
    return f"{stem}-{owner_mark(rider)[:16]}.html"


def check_quote_target(target: Path, rider: str) -> None:
    """Refuse a place that has anything in it but an earlier quote for this rider.

    Systems that do not tell small letters from capitals may hold the page of another rider there.

    Raises
    ------
    InputError
        The page may not go there.
    """
    check_target(target)
    if not target.exists():
        return
    with target.open(encoding="utf-8", errors="replace") as file:
        is_of_rider = f'<meta name="quoted-for" content="{owner_mark(rider)}">' in file.read(LOOKED_AT)
    if not is_of_rider:
        message = f"is there already and is not a quote for {shown(rider)}; remove it or choose another folder"
        raise InputError([Problem(escaped(str(target)), message)])


def owner_mark(rider: str) -> str:
    """What a page says of whose quote it is, whatever letters the name has."""
    return sha256(rider.encode(errors="surrogatepass")).hexdigest()
