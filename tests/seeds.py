"""Seeds of drawn inputs: the same in every ordinary run, so that whoever breaks a case finds it; new ones in long runs.

``CONTACTFE_SEED`` sets both. What is drawn goes by a seed and a number; those of long runs are numbered from `LONG_FROM`.
"""

from __future__ import annotations

import os
import random

LONG_FROM = 1_000_000
_asked = os.environ.get("CONTACTFE_SEED")
ORDINARY = int(_asked or 1)
LONG = int(_asked or random.SystemRandom().randrange(2**32))


def seed_of(number: int) -> int:
    """The seed that goes with a number."""
    return LONG if number >= LONG_FROM else ORDINARY
