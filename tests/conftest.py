"""Shared by all tests: one BLAS thread in child processes, and drawn inputs that no clock judges."""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")

# The first draw of text in a fresh environment lays out tables for a second or two.
settings.register_profile("contactfe", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("contactfe")
