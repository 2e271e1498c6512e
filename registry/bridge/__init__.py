"""Plain rows → arrays → results as plain data: the only importer of `consensus`.  No database, no rules."""
