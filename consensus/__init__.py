"""Consensus of bench readings: pure numpy and scipy, no Django, no I/O."""
