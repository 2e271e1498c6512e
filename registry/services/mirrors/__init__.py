"""Another registry followed: fetched from, taken over, and nothing else let in."""
