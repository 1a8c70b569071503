"""Two problems solved by a general-purpose finite-element library (NGSolve, LGPL), apart from the package.

Run it where `pip install ngsolve` has been done, in this folder, to write the stored numbers anew:

    python ngsolve_reference.py

`open_end`: the head of an open-end wrench, cut from its exact lines and arcs by the library's own geometry kernel,
with one unit of force on each flank, spread as a smooth hump over 8 mm; how far its mouth opens.
`hexagon_in_jaws`: a hexagon held at its bore and turned in rigid parallel jaws that only push (penalty); torque and
place of the resultant.
Nothing here imports the package; the outline of the head is a list of numbers in `stored.json`.
"""

from __future__ import annotations

import itertools
import json
import math
from importlib.metadata import version
from pathlib import Path
from typing import Any

STORED = Path(__file__).with_name("stored.json")
ORDER = 4
HUMP = 4.0  # mm: half the length of flank that is loaded, about the head's axis
PENALTIES = (1e6, 1e7, 1e8, 1e9, 1e10)  # MPa per mm of overlap


def elastic_form(space: Any, young: float, poisson: float, plane: str) -> Any:
    """The stiffness form of a plane body per unit depth."""
    from ngsolve import BilinearForm, Grad, InnerProduct, Sym, div, dx

    u, v = space.TnT()
    shear = young / (2 * (1 + poisson))
    lame = (
        young * poisson / (1 - poisson**2)
        if plane == "stress"
        else young * poisson / ((1 + poisson) * (1 - 2 * poisson))
    )
    form = BilinearForm(space)
    form += (2 * shear * InnerProduct(Sym(Grad(u)), Sym(Grad(v))) + lame * div(u) * div(v)) * dx
    return form


def section(pieces: list[dict[str, Any]]) -> Any:
    """A plane face bounded by lines and arcs; every edge keeps the name of its piece."""
    from netgen.occ import ArcOfCircle, Face, Pnt, Segment, Wire

    edges = []
    for piece in pieces:
        start, end = Pnt(*piece["start"], 0), Pnt(*piece["end"], 0)
        if piece["radius"] > 0:
            cx, cy = piece["centre"]
            half = math.atan2(piece["start"][1] - cy, piece["start"][0] - cx) + piece["turn"] / 2
            middle = Pnt(cx + piece["radius"] * math.cos(half), cy + piece["radius"] * math.sin(half), 0)
            edge = ArcOfCircle(start, middle, end)
        else:
            edge = Segment(start, end)
        edges.append(edge)
    face = Face(Wire(edges))
    for edge in face.edges:  # names do not survive the making of a face: find each edge's piece by its ends
        ends = {(round(p.x, 6), round(p.y, 6)) for p in (edge.start, edge.end)}
        for piece in pieces:
            if ends == {tuple(round(c, 6) + 0.0 for c in piece[key]) for key in ("start", "end")}:
                edge.name = piece["name"]
    return face


def open_end(pieces: list[dict[str, Any]], young: float, poisson: float, edge: float = 0.8) -> dict[str, Any]:
    """Opening of the mouth (mm) under 1 N/mm of force on each flank, per unit thickness, plane stress."""
    from netgen.occ import OCCGeometry
    from ngsolve import CF, GridFunction, IfPos, Integrate, LinearForm, Mesh, VectorH1, ds, specialcf, x, y

    mesh = Mesh(OCCGeometry(section(pieces), dim=2).GenerateMesh(maxh=edge))
    mesh.Curve(ORDER)
    space = VectorH1(mesh, order=ORDER)
    stiff = elastic_form(space, young, poisson, "stress")
    u, v = space.TnT()
    # The load is in balance: a spring as weak as this on the handle's end only takes away the rigid motion.
    stiff += 1e-6 * young * u * v * ds("handle-end")
    stiff.Assemble()
    normal = specialcf.normal(2)
    hump = IfPos(HUMP**2 - x**2, 15.0 / (16.0 * HUMP) * (1.0 - (x / HUMP) ** 2) ** 2, 0.0)
    load = LinearForm(-(normal * v) * hump * ds("flank")).Assemble()
    total = Integrate(hump, mesh, definedon=mesh.Boundaries("flank"), order=10) / 2
    moved = GridFunction(space)
    moved.vec.data = stiff.mat.Inverse(space.FreeDofs(), inverse="sparsecholesky") * load.vec
    tip = mesh.Boundaries("tip")
    apart = Integrate(IfPos(y, moved[1], -moved[1]), mesh, definedon=tip, order=10)
    each = Integrate(CF(1.0), mesh, definedon=tip) / 2
    return {"opening_mm": apart / each / total, "triangles": mesh.ne, "order": ORDER, "unknowns": space.ndof}


def hexagon_in_jaws(flats: float, bore: float, young: float, poisson: float) -> dict[str, Any]:
    """Torque per turn (N mm per mm and rad), plane strain, and the resultant's place over half a flat.

    The penalty is raised tenfold until the answer rests; each start is the answer before.
    """
    from netgen.occ import Circle, MoveTo, OCCGeometry
    from ngsolve import GridFunction, IfPos, Integrate, Mesh, Variation, VectorH1, ds, x

    radius = flats / math.sqrt(3.0)
    corners = [(radius * math.cos(k * math.pi / 3), radius * math.sin(k * math.pi / 3)) for k in range(7)]
    plane = MoveTo(*corners[0])
    for (x0, y0), (x1, y1) in itertools.pairwise(corners):
        plane = plane.LineTo((x0 + x1) / 2, (y0 + y1) / 2).LineTo(
            x1, y1
        )  # contact ends near the middle of a flat
    face = plane.Face()
    for edge in face.edges:
        edge.name = (
            "upper" if edge.center.y > 0.49 * flats else "lower" if edge.center.y < -0.49 * flats else "free"
        )
    for vertex in face.vertices:
        vertex.maxh = 0.005
    hole = Circle((0.0, 0.0), bore / 2).Face()
    hole.edges.name = "held"
    mesh = Mesh(OCCGeometry(face - hole, dim=2).GenerateMesh(maxh=0.3, grading=0.15))
    mesh.Curve(ORDER)
    space = VectorH1(mesh, order=ORDER, dirichlet="held")
    moved = GridFunction(space)
    upper = mesh.Boundaries("upper")
    steps = []
    for penalty in PENALTIES:
        form = elastic_form(space, young, poisson, "strain")
        u = space.TrialFunction()
        # One radian of turn: the problem is positively homogeneous, so the size of the turn does not matter.
        form += Variation(penalty / 2 * IfPos(u[1] - x, (u[1] - x) ** 2, 0.0) * ds("upper"))
        form += Variation(penalty / 2 * IfPos(x - u[1], (u[1] - x) ** 2, 0.0) * ds("lower"))
        rounds = _newton(form, moved, space)
        push = penalty * IfPos(moved[1] - x, moved[1] - x, 0.0)
        force = Integrate(push, mesh, definedon=upper, order=20)
        moment = Integrate(-x * push, mesh, definedon=upper, order=20)
        steps.append({"penalty_MPa_per_mm": penalty, "torque_per_turn_N": 2 * moment, "rounds": rounds})
    return {
        "torque_per_turn_N": 2 * moment,
        "resultant_over_half_flat": moment / force / (radius / 2),
        "steps": steps,
        "triangles": mesh.ne,
        "order": ORDER,
        "unknowns": space.ndof,
    }


def _newton(form: Any, moved: Any, space: Any) -> int:
    """Newton's method on the set of points that touch; the number of rounds."""
    residual, step = moved.vec.CreateVector(), moved.vec.CreateVector()
    free = space.FreeDofs()
    for rounds in range(1, 60):
        form.Apply(moved.vec, residual)
        form.AssembleLinearization(moved.vec)
        step.data = form.mat.Inverse(free, inverse="sparsecholesky") * residual
        moved.vec.data -= step
        if step.Norm() < 1e-9 * moved.vec.Norm():
            return rounds
    raise RuntimeError("the contact did not settle")


def main() -> None:
    """Solve both problems and store the numbers."""
    stored = json.loads(STORED.read_text(encoding="utf-8"))
    library = {"library": "ngsolve", "version": version("ngsolve"), "licence": "LGPL-2.1"}
    head = stored["open_end"]["input"]
    stored["open_end"]["answer"] = library | open_end(head["pieces"], head["young_MPa"], head["poisson"])
    hexagon = stored["hexagon_in_jaws"]["input"]
    stored["hexagon_in_jaws"]["answer"] = library | hexagon_in_jaws(**hexagon)
    STORED.write_text(json.dumps(stored, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
