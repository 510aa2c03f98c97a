"""Lists of kits: every kit that may be fitted, where there are few enough, and what each costs to buy."""

from __future__ import annotations

import numpy as np

from guardopt.arrays import Bools, Ints
from guardopt.model.offers import best_saving
from guardopt.model.pieces import Kit
from guardopt.model.scenario import Scenario

MOST_KITS = 400_000
"""Above this the integer program is quicker, and lists would take too much memory."""


def legal_kits(scenario: Scenario, among: Kit | None = None) -> Bools | None:
    """``(kits, guards)``: every kit that may be fitted, money aside; None if there are more than `MOST_KITS`.

    Parameters
    ----------
    among
        Only kits of these guards. Default: of all.
    """
    guards = scenario.guards
    kits = np.zeros((1, len(guards)), dtype=bool)
    for row, guard in enumerate(guards):
        if among is not None and guard.id not in among:
            continue
        rivals = [i for i, other in enumerate(guards[:row]) if scenario.exclude_each_other(guard, other)]
        with_it = kits[~kits[:, rivals].any(axis=1)]
        with_it[:, row] = True
        kits = np.concatenate([kits, with_it])
        if len(kits) > MOST_KITS:
            return None
    position = {guard.id: row for row, guard in enumerate(guards)}
    for row, guard in enumerate(guards):
        for alternatives in guard.needs:
            met = kits[:, [position[name] for name in alternatives]].any(axis=1)
            kits = kits[met | ~kits[:, row]]
    if scenario.max_weight_kg is not None:
        kits = kits[kits @ np.array([guard.weight_kg for guard in guards]) <= scenario.max_weight_kg + 1e-7]
    return kits


def spends(scenario: Scenario, kits: Bools) -> Ints:
    """``(kits,)``: what each kit costs now, in cents, offers taken where they save most."""
    spend: Ints = kits.astype(np.int64) @ np.array([guard.gives_up_cents for guard in scenario.guards], dtype=np.int64)
    spend -= scenario.sold_cents(())
    lots = [(scenario.bought_in(offer), scenario.offer_saving_cents(offer)) for offer in scenario.offers]
    lots = [(lot, saving) for lot, saving in lots if saving]
    if not lots:
        return spend
    position = {guard.id: row for row, guard in enumerate(scenario.guards)}
    usable = np.stack([kits[:, [position[name] for name in lot]].all(axis=1) for lot, _ in lots], axis=1)
    patterns, which = np.unique(usable, axis=0, return_inverse=True)
    savings = []
    for pattern in patterns:
        taken = [lot for lot, fits in zip(lots, pattern, strict=True) if fits]
        savings.append(best_saving(taken, frozenset().union(*(lot for lot, _ in taken))))
    return spend - np.array(savings, dtype=np.int64)[which.ravel()]
