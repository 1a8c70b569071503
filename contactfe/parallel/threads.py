"""The one-thread rule: every process that solves holds its numerical libraries to one thread.

Several workers with several threads each would slow each other down, and the number of threads may change the last
bit of an answer.
"""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache
from typing import Any

THREAD_VARIABLES = (
    "OPENBLAS_NUM_THREADS",
    "OMP_NUM_THREADS",
    "MKL_NUM_THREADS",
    "BLIS_NUM_THREADS",
    "VECLIB_MAXIMUM_THREADS",
    "NUMEXPR_NUM_THREADS",
)


@lru_cache(maxsize=1)
def hold_one_thread() -> Any:
    """Hold the numerical libraries that this process has loaded to one thread, for good."""
    from threadpoolctl import threadpool_limits

    return threadpool_limits(1)


@contextmanager
def as_workers() -> Iterator[None]:
    """Processes started meanwhile inherit one thread per numerical library, which is read at loading, and leave
    an interrupt from the keyboard to their parent, who hears it too and decides."""
    before = {name: os.environ.get(name) for name in THREAD_VARIABLES}
    os.environ.update(dict.fromkeys(THREAD_VARIABLES, "1"))
    in_main = threading.current_thread() is threading.main_thread()
    handler = signal.signal(signal.SIGINT, signal.SIG_IGN) if in_main else None
    try:
        yield
    finally:
        if in_main:
            signal.signal(signal.SIGINT, handler)
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value
