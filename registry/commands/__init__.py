"""The `benchquorum` command: one module a subcommand, loaded only when it is called."""

import os

# One thread a process, before numpy is loaded: the work is spread over processes, and sums of several
# threads may differ in their last bit from run to run.
for _variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_variable, "1")
