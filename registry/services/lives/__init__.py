"""Units over time: what is told of them, the laws that follow, what readers are given."""
