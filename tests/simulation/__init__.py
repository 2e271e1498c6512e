"""Simulated worlds: designs, switches, readers and their mistakes, with the truth beside them.

Nothing here imports the engine or the reader of files except `files` (the two ways in) and `scores` (what is
judged): the simulator must not share an error with what it tests.
"""
