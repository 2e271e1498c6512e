"""Simulated worlds: designs, switches, readers and their mistakes, with the truth beside them.

Nothing here imports the engine except `files` (its input types) and `scores` (what is judged): the simulator
must not share an error with what it tests.
"""
