"""One BLAS thread a process: tests run in as many processes as there are cores, and more threads get in the way."""

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):  # before numpy is loaded
    os.environ.setdefault(name, "1")
