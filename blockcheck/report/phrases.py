"""What all sentences share: names in them, how they begin, and the cautions."""

from __future__ import annotations

from collections.abc import Sequence

from ..planning.plan import called

DOUBT = 0.05  # a chance of being wrong that is worth a word
RULER_FIRST = "Measure with the ruler before the first cut."
CAUTION = (
    "Rotary cutters are sharp: cut away from yourself, keep your fingers behind the ruler's edge, "
    "close the blade after every cut. Irons and steam burn. Follow the makers' instructions."
)
SHORT_CAUTION = (
    f"{RULER_FIRST} Rotary cutters are sharp: close the blade after every cut and follow its "
    "maker's instructions."
)


def names(several: Sequence[str], most: int = 12) -> str:
    """Write names in a row: ``A, B and C``; of very many the first and how many more."""
    shown = [called(name) for name in several[:most]]
    if len(several) > most:
        shown.append(f"{len(several) - most} more")
    return " and ".join([", ".join(shown[:-1]), shown[-1]] if len(shown) > 1 else shown)


def sentence(text: str) -> str:
    """Begin with a capital and leave the rest as it is, for it may hold names."""
    return text[:1].upper() + text[1:]


def percent(part: float) -> str:
    """Write a part or a probability: ``12 %``."""
    return f"{100 * part:.0f} %"
