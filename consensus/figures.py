"""Figures as they are stored: to significant digits."""

from __future__ import annotations


def rounded(value: float, digits: int = 6) -> float:
    """`value` to significant digits, so that stored bytes do not depend on the last bit of a sum."""
    return float(f"{value:.{digits}g}")
