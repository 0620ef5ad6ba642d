"""The Django project and the base app."""

import os

# One thread a process for numpy's linear algebra: its arrays here are small, so that more threads only wait for each
# other and take the cores from other people's requests. It counts only if set before numpy is imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
