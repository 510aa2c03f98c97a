"""What an audit found, in a few sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING

from guardopt.words import wrapped

if TYPE_CHECKING:
    from guardopt.proof.audit import Audit

NAMED_AT_MOST = 12
"""Faults that are written out; where numbers of the scenario differ, every row has one."""


def audit_text(audit: Audit, name: str) -> str:
    """The answer to whether a proof holds.

    Parameters
    ----------
    audit
        What was found.
    name
        What the proof's file is called.
    """
    if audit.valid:
        sample = f"{audit.falls} simulated falls of each kind and side (seed {audit.seed})"
        text = (
            f"The proof holds. On {sample} the kit measures {audit.objective:.2f}, and no kit that was allowed is "
            f"below {audit.bound:.2f}: a relative gap of at most {audit.gap:.1e}. Checked in exact arithmetic: "
            f"{audit.rows} inequalities, worked out anew from the scenario and the falls, and {audit.leaves} cases "
            f"that together hold every kit."
        )
        return "\n".join(wrapped(text))
    lines = [f"The proof in {name} does not hold:"]
    lines += [f"  {fault}" for fault in audit.faults[:NAMED_AT_MOST]]
    more = len(audit.faults) - NAMED_AT_MOST
    return "\n".join(lines + ([f"  and {more} more faults of this kind"] if more > 0 else []))
