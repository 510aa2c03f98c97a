"""The worst share of falls: weights that single them out, and their mean cost."""

from __future__ import annotations

import numpy as np

from guardopt.arrays import Floats


def worst_mean(costs: Floats, weights: Floats, tail: float) -> float:
    """Mean cost of the worst share `tail` of falls: the conditional value-at-risk at level 1 − `tail`.

    An atom that straddles the limit counts with the part of it that lies in the tail (Rockafellar and Uryasev 2002,
    Proposition 8).

    Parameters
    ----------
    costs, weights
        ``(falls,)`` each; weights add up to 1.
    tail
        Above 0, at most 1.
    """
    return float(tail_weights(costs, weights, tail) @ costs)


def tail_weights(costs: Floats, weights: Floats, tail: float) -> Floats:
    """``(falls,)``: weights, adding up to 1, that put all their mass on the worst share `tail` of falls.

    The tail mean is the largest mean under any weights q with q ≤ w/tail; these attain it.
    """
    worst_first = np.argsort(-costs, kind="stable")
    before = np.concatenate([[0.0], np.cumsum(weights[worst_first])[:-1]])
    taken = np.clip(tail - before, 0.0, weights[worst_first])
    result = np.zeros_like(weights)
    if taken.any():
        result[worst_first] = taken / taken.sum()
    return result


def tail_scores(costs: Floats, weights: Floats, tail: float) -> Floats:
    """``(falls,)``: values whose weighted mean is the tail mean, and whose spread is that of its error.

    v + max(0, cost − v) / tail with v the cost at which the worst share begins (Rockafellar and Uryasev 2002, theorem
    10: the tail mean is the least of such means over v, so v itself need not be doubted).
    """
    worst = tail_weights(costs, weights, tail) > 0.0
    begins = float(costs[worst].min(initial=np.inf)) if worst.any() else 0.0
    scores: Floats = begins + np.maximum(0.0, costs - begins) / tail
    return scores
