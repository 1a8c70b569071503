"""contactfe: at what torque does a wrench slip on a worn hex, why, and by how much would another profile do better?"""

from __future__ import annotations

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

# Public names and where they live; imported on first use, so that the command line starts fast.
_HOME = {
    "CaseInput": "contactfe.inputs",
    "load_case": "contactfe.inputs",
    "parse_case": "contactfe.inputs",
    "ProfilePair": "contactfe.profile",
    "profile_pair": "contactfe.profile",
    "SectionMesh": "contactfe.mesh",
    "mesh_outline": "contactfe.mesh",
    "HeldBody": "contactfe.elastic",
    "Flexibility": "contactfe.elastic",
    "ContactSolution": "contactfe.contact",
    "Audit": "contactfe.contact",
    "BuiltPair": "contactfe.turn",
    "build_pair": "contactfe.turn",
    "TorqueCurve": "contactfe.turn",
    "torque_curve": "contactfe.turn",
    "SlipEstimate": "contactfe.turn",
    "slip_estimate": "contactfe.turn",
    "CaseRecord": "contactfe.case",
    "solve_case": "contactfe.case",
    "Limit": "contactfe.case",
    "read_readings": "contactfe.trial",
    "read_log": "contactfe.trial",
    "score": "contactfe.trial",
    "load_study": "contactfe.trial",
    "make_plan": "contactfe.trial",
    "compare": "contactfe.trial",
    "calibrate_study": "contactfe.trial",
    "ContactFEError": "contactfe.errors",
}

__all__ = ["__version__", *_HOME]


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(import_module(_HOME[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
