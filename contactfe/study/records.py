"""What the records of solved cases hold, for those who read a finished study."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray


def samples_of(record: dict[str, Any] | None) -> NDArray[np.float64] | None:
    """Torques (n,) N m of the samples in the record of a case, nan where one has none; None without a band."""
    if (record or {}).get("band") is None:
        return None
    from contactfe.study.banded import samples_of as found  # takes a while to import

    return found(record)
