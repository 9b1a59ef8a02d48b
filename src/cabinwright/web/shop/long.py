"""What takes long, in a process of its own: asked for by somebody who may, and taken over when it is back."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cabinwright.office.apart import Apart, apart, taken_over
from cabinwright.shop.access import refuse_unless
from cabinwright.web.shop.door import the_door

if TYPE_CHECKING:
    from cabinwright.web.shop.frame import Make, ShopView

__all__ = ["away", "back"]


def away(
    view: ShopView, builds: Sequence[Path], call: Callable[..., Any], *given: Any, needs: str = "work", **named: Any
) -> Make:
    """``call(store, *given, **named)`` to be run elsewhere. Raises ``PersonError`` where they may not, ``BuildError``."""
    refuse_unless(view.person, needs)
    return apart(the_door().address, builds, call, *given, **named)


def back(said: Callable[[Any], str]) -> Callable[[Apart], str]:
    """What is said of the answer that came back."""
    return lambda told: said(taken_over(told))
