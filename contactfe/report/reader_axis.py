"""Axes of figures in the reader's units: what is drawn stays in SI, ticks and label are those of the reader."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axis import Axis
from matplotlib.ticker import AutoLocator, FuncFormatter

from contactfe.report.reader_units import Reader, reader
from contactfe.report.words import LBF_FT, LEAST_FT


class _ScaledLocator(AutoLocator):
    """Ticks at round values of another unit, `factor` SI units each."""

    def __init__(self, factor: float) -> None:
        super().__init__()
        self.factor = factor

    def tick_values(self, vmin: float, vmax: float) -> Any:
        return self.factor * np.asarray(super().tick_values(vmin / self.factor, vmax / self.factor))


def show_unit(axis: Axis, label: str, unit: str, largest: float | None = None) -> str:
    """Label an axis that is drawn in an SI unit, with the unit of the reader, and put its ticks at round values there.

    With the `largest` value of a torque axis that is read in lbf in below 20 lbf ft. Returns the label.
    """
    told = reader() if largest is None else Reader(reader().units, abs(largest) < LEAST_FT * LBF_FT)
    factor, name = told.scale(unit)
    if factor != 1.0:
        axis.set_major_locator(_ScaledLocator(factor))
        axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value / factor:.6g}"))
    text = f"{label} ({name})" if name else label
    axis.set_label_text(text)
    return text
