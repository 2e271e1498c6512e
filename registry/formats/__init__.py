"""Text in, plain rows out, and back: no database, no engine."""
