"""Shares and chances as so many of a hundred."""

from __future__ import annotations


def percent(share: float | None) -> str:
    """A share between 0 and 1 as so many of a hundred, without the sign; "–" where it is not known.

    What is nearly all or nearly nothing is never told as all or nothing.

    >>> [percent(share) for share in (0.0, 0.002, 0.126, 0.998, 1.0, None)]
    ['0', '<1', '13', '>99', '100', '–']
    """
    if share is None or share != share:
        return "–"
    if 0 < share < 0.005:
        return "<1"
    return ">99" if 0.995 < share < 1 else f"{100 * share:.0f}"
