"""A folder for the time of a run that goes away with it, also when the run is killed."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

# What is left to do when a run was killed outright falls to a process of its own: it waits for the end of its input,
# which the system closes with the run, and keeps removing while workers are still ending.
_CARETAKER = """
import os, shutil, sys, time
sys.stdin.buffer.read()
for _ in range(100):
    shutil.rmtree(sys.argv[1], ignore_errors=True)
    time.sleep(0.1)
    if not os.path.lexists(sys.argv[1]):
        break
"""


@contextmanager
def scratch_folder(name: str = "run") -> Iterator[Path]:
    """A new temporary folder that this user alone may enter; it is removed at the end, whatever that end is."""
    folder = tempfile.mkdtemp(prefix=f"contactfe-{name}-")
    # A session of its own: an interrupt from the keyboard reaches all processes of the terminal's.
    caretaker = subprocess.Popen(
        [sys.executable, "-I", "-S", "-c", _CARETAKER, folder], stdin=subprocess.PIPE, start_new_session=True
    )
    try:
        yield Path(folder)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
        caretaker.communicate()
