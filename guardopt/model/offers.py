"""Which offers save most on a kit, where a guard can be in one offer at most."""

from __future__ import annotations

from collections.abc import Sequence

from guardopt.model.pieces import Kit


def best_saving(offers: list[tuple[Kit, int]], kit: Kit) -> int:
    """The most that offers can save on a kit.

    An offer that shares no guard with another is taken; one that does is tried taken and not taken.
    """
    usable = [(guards, saving) for guards, saving in offers if guards <= kit and saving > 0]
    if not usable:
        return 0
    (guards, saving), rest = usable[0], usable[1:]
    taken = saving + best_saving(rest, kit - guards)
    if not any(guards & others for others, _ in rest):
        return taken
    return max(taken, best_saving(rest, kit))


def best_lots(offers: Sequence[tuple[Kit, int]], kit: Kit) -> list[int]:
    """The offers that together save most on a kit, by their numbers and in their order; where two do, the earlier."""
    left, taken = kit, []
    for number, (guards, saving) in enumerate(offers):
        rest = list(offers[number + 1 :])
        is_usable = saving > 0 and guards <= left
        if is_usable and saving + best_saving(rest, left - guards) >= best_saving(rest, left):
            taken.append(number)
            left -= guards
    return taken
