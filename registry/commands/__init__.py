"""The `benchquorum` command: one module a subcommand, loaded only when it is called."""
