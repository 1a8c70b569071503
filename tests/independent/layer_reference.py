"""A layer pressed on a half plane without friction: integral equation by Fourier transform, apart from the package.

    python layer_reference.py

writes the numbers of `stored.json` anew (numpy only). A layer of height 1 carries a unit line load on top. Pressure
on the contact -c..c bends and squeezes it; a half plane of the same material lies below. For a harmonic pressure
cos kx the layer's stress function is a sum of exp(-ky), ky exp(-ky) and their mirror images; the part of its answer
that remains at large k is that of a half plane, which is added in closed form. c is where the pressure at the edge
changes sign. The problem is that of Keer, Dundurs & Tsai, J. Applied Mechanics 39 (1972) (from memory).
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
STORED = Path(__file__).with_name("stored.json")
CELLS = 200


def layer_answer(k: float) -> tuple[float, float]:
    """Upward movement of the lower face (E = 1, height 1) under unit harmonic pressure below and on top."""

    def functions(y: float) -> tuple[Array, Array, Array]:
        z = 1.0 - y
        a, b = np.exp(-k * y), np.exp(-k * z)
        value = np.array([a, k * y * a, b, k * z * b])
        slope = k * np.array([-a, (1 - k * y) * a, b, -(1 - k * z) * b])
        integral = np.array([-a, -(1 + k * y) * a, b, (1 + k * z) * b]) / k
        return value, slope, integral

    low, low_slope, low_integral = functions(0.0)
    high, high_slope, _ = functions(1.0)
    # s_yy = -k^2 f, s_xy = k f': unit pressure on one face, nothing else.
    system = np.array([-k * k * low, k * low_slope, -k * k * high, k * high_slope])
    movement = -k * k * low_integral  # the term with Poisson's ratio vanishes with the shear on the face
    below, above = np.array([-1.0, 0, 0, 0]), np.array([0, 0, -1.0, 0])
    return float(movement @ np.linalg.solve(system, below)), float(movement @ np.linalg.solve(system, above))


def strip_movement(x: Array, low: float, high: float) -> Array:
    """Movement of a half plane (E = 1, plane stress) under unit pressure on low..high, up to a constant."""

    def part(s: Array) -> Array:
        return np.asarray(s * np.log(np.abs(s) + 1e-300) - s)

    return np.asarray(-2.0 / np.pi * (part(x - low) - part(x - high)))


def pressures(half: float, wave: tuple[Array, Array, Array]) -> tuple[Array, Array]:
    """Pressure of the cells on 0..c under a unit load, and the cells' widths."""
    k, weight, answers = wave
    ends = half * np.sin(np.linspace(0.0, np.pi / 2, CELLS + 1))  # finer towards the edge
    middle, width = 0.5 * (ends[1:] + ends[:-1]), np.diff(ends)
    x, first = middle[1:], middle[:1]
    matrix = np.empty((CELLS - 1, CELLS))
    for j in range(CELLS):
        own = strip_movement(x, ends[j], ends[j + 1]) + strip_movement(x, -ends[j + 1], -ends[j])
        zero = strip_movement(first, ends[j], ends[j + 1]) + strip_movement(first, -ends[j + 1], -ends[j])
        matrix[:, j] = 2.0 * (own - zero)  # the layer's far part and the half plane below it are alike
    waves = 2.0 * (np.sin(np.outer(k, ends[1:])) - np.sin(np.outer(k, ends[:-1]))) / k[:, None]
    differences = (np.cos(np.outer(x, k)) - np.cos(first * k)) * weight
    matrix += (differences * (answers[:, 0] - 2.0 / k)) @ waves / np.pi
    load = differences @ answers[:, 1] / np.pi
    return np.linalg.solve(np.vstack([matrix, 2.0 * width]), np.append(-load, 1.0)), width


def receding_layer() -> dict[str, float]:
    """Half width of contact over height, and pressure in the middle times height over load."""
    k = np.concatenate([np.linspace(2e-3, 2.0, 4001)[:-1], np.linspace(2.0, 60.0, 8001)])
    weight = np.zeros(len(k))
    weight[:-1] += np.diff(k) / 2
    weight[1:] += np.diff(k) / 2
    wave = (k, weight, np.array([layer_answer(float(q)) for q in k]))
    low, high = 1.0, 1.6
    for _ in range(30):
        half = 0.5 * (low + high)
        found, _ = pressures(half, wave)
        low, high = (half, high) if found[-1] > 0 else (low, half)
    return {"half_width_over_height": half, "middle_pressure_h_over_P": float(found[0])}


def main() -> None:
    """Solve and store."""
    stored = json.loads(STORED.read_text(encoding="utf-8"))
    answer = {"library": "numpy: integral equation, layer_reference.py", "cells": CELLS} | receding_layer()
    stored["receding_layer"] = {"input": {"height": 1.0, "load": 1.0, "moduli": "equal"}, "answer": answer}
    STORED.write_text(json.dumps(stored, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
