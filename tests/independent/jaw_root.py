"""Stress at the jaw roots of an open-end head by a general-purpose finite-element library (NGSolve, LGPL).

Run it where `pip install ngsolve` has been done, in this folder, to write `jaw_root.json` anew:

    python jaw_root.py

Head and load are those of `ngsolve_reference.py`: the outline is read from `stored.json`, one unit of force spread
smoothly over each flank. Stored: the largest von Mises stress along each rounded corner of the throat (MPa per N/mm),
and the resultants over straight cuts through the head (N/mm and N mm/mm). Nothing here imports the package.
"""

from __future__ import annotations

import json
import math
from importlib.metadata import version
from pathlib import Path
from typing import Any

from ngsolve_reference import HUMP, ORDER, elastic_form, section

HERE = Path(__file__).parent
STATIONS = 400
INSIDE = 1e-4  # mm that points are taken inside the material: on the edge itself the library finds no element
CUTS = (((-6.1, -7.6), (-10.55, -16.95)), ((-9.4, -3.85), (-16.2, -12.9)))
"""Inner and outer end (mm) of the cuts, about where an engineer would lay them: both ends are moved onto the edge."""


def solved(pieces: list[dict[str, Any]], young: float, poisson: float) -> tuple[Any, Any, Any]:
    """Mesh, displacement and stress (a matrix function) of the head under its load."""
    from netgen.occ import OCCGeometry
    from ngsolve import (
        Grad,
        GridFunction,
        Id,
        IfPos,
        Integrate,
        LinearForm,
        Mesh,
        Sym,
        Trace,
        VectorH1,
        ds,
        specialcf,
        x,
    )

    geometry = OCCGeometry(section(pieces), dim=2)
    mesh = Mesh(geometry.GenerateMesh(maxh=0.5))
    mesh.Curve(ORDER)
    space = VectorH1(mesh, order=ORDER)
    stiff = elastic_form(space, young, poisson, "stress")
    u, v = space.TnT()
    stiff += (
        1e-6 * young * u * v * ds("handle-end")
    )  # takes away the rigid motion only: the load is in balance
    stiff.Assemble()
    normal = specialcf.normal(2)
    hump = IfPos(HUMP**2 - x**2, 15.0 / (16.0 * HUMP) * (1.0 - (x / HUMP) ** 2) ** 2, 0.0)
    load = LinearForm(-(normal * v) * hump * ds("flank")).Assemble()
    total = Integrate(hump, mesh, definedon=mesh.Boundaries("flank"), order=10) / 2
    moved = GridFunction(space)
    moved.vec.data = stiff.mat.Inverse(space.FreeDofs(), inverse="sparsecholesky") * load.vec
    shear, lame = young / (2 * (1 + poisson)), young * poisson / (1 - poisson**2)
    strain = Sym(Grad(moved))
    stress = (2 * shear * strain + lame * Trace(strain) * Id(2)) / total
    return mesh, moved, stress


def corner_stresses(pieces: list[dict[str, Any]], mesh: Any, stress: Any) -> list[dict[str, Any]]:
    """The largest von Mises stress along each arc of the throat, and where it is."""
    found = []
    for piece in pieces:
        if piece["name"] != "throat" or piece["radius"] == 0:
            continue
        (cx, cy), r = (
            piece["centre"],
            piece["radius"] + INSIDE,
        )  # a hollow corner: the material lies outside the arc
        first = math.atan2(piece["start"][1] - cy, piece["start"][0] - cx)
        best: tuple[float, list[float]] = (0.0, [0.0, 0.0])
        for k in range(STATIONS + 1):
            angle = first + piece["turn"] * k / STATIONS
            at = [cx + r * math.cos(angle), cy + r * math.sin(angle)]
            sx, sxy, _, sy = stress(mesh(*at))
            best = max(best, (math.sqrt(sx**2 - sx * sy + sy**2 + 3 * sxy**2), at))
        found.append({"von_mises_MPa": best[0], "at": best[1], "centre": piece["centre"]})
    return found


def cut_resultants(mesh: Any, stress: Any, inner: Any, outer: Any) -> dict[str, Any]:
    """Normal force, shear force and moment (pulling at the inner end) over a straight cut, by Simpson's rule."""
    height = math.dist(inner, outer)
    d = [(outer[i] - inner[i]) / height for i in (0, 1)]
    n = [d[1], -d[0]]
    count = 4000
    total = [0.0, 0.0, 0.0]
    for k in range(count + 1):
        s = min(max(height * k / count, INSIDE), height - INSIDE)
        sx, sxy, _, sy = stress(mesh(inner[0] + d[0] * s, inner[1] + d[1] * s))
        t = [sx * n[0] + sxy * n[1], sxy * n[0] + sy * n[1]]
        weight = (1 if k in (0, count) else 4 if k % 2 else 2) * height / count / 3
        across, along = t[0] * n[0] + t[1] * n[1], t[0] * d[0] + t[1] * d[1]
        for i, value in enumerate((across, along, across * (height / 2 - s))):
            total[i] += weight * value
    return {"inner": inner, "outer": outer, "normal": total[0], "shear": total[1], "moment": total[2]}


def onto_edge(mesh: Any, inside: Any, towards: Any) -> list[float]:
    """The last point of the material on the way from a point inside to one outside or on the edge."""
    low, high = 0.0, 1.5
    for _ in range(60):
        middle = 0.5 * (low + high)
        at = [inside[i] + middle * (towards[i] - inside[i]) for i in (0, 1)]
        if mesh.Contains(*at):
            low = middle
        else:
            high = middle
    return [inside[i] + low * (towards[i] - inside[i]) for i in (0, 1)]


def main() -> None:
    """Solve and write."""
    given = json.loads((HERE / "stored.json").read_text())["open_end"]["input"]
    mesh, _, stress = solved(given["pieces"], given["young_MPa"], given["poisson"])
    cuts = []
    for inner, outer in CUTS:
        middle = [(inner[i] + outer[i]) / 2 for i in (0, 1)]
        cuts.append(
            cut_resultants(mesh, stress, onto_edge(mesh, middle, inner), onto_edge(mesh, middle, outer))
        )
    answer = {
        "library": "ngsolve",
        "version": version("ngsolve"),
        "licence": "LGPL-2.1",
        "triangles": mesh.ne,
        "order": ORDER,
        "corners": corner_stresses(given["pieces"], mesh, stress),
        "cuts": cuts,
    }
    (HERE / "jaw_root.json").write_text(json.dumps(answer, indent=1) + "\n")


if __name__ == "__main__":
    main()
