"""Contact of two meshed bodies: gap search, the bounded problem, its solver, and the audit of every solution."""

from contactfe.contact.audit import LIMITS, Audit, audit
from contactfe.contact.cap import friction_share
from contactfe.contact.problem import HEAD_PLACE, HEAD_ROTATION, ContactBuilder, ContactProblem, Handle
from contactfe.contact.rig import (
    ContactLaw,
    ContactRig,
    ContactSolution,
    free_play,
    widest_clearance,
)
from contactfe.contact.search import GapSearch, Pairing, SearchRules, turned
from contactfe.contact.solver import BoundedProblem, Dense, SolveReport, complementarity, solve_bounded

__all__ = [
    "HEAD_PLACE",
    "HEAD_ROTATION",
    "LIMITS",
    "Audit",
    "BoundedProblem",
    "ContactBuilder",
    "ContactLaw",
    "ContactProblem",
    "ContactRig",
    "ContactSolution",
    "Dense",
    "GapSearch",
    "Handle",
    "Pairing",
    "SearchRules",
    "SolveReport",
    "audit",
    "complementarity",
    "free_play",
    "friction_share",
    "solve_bounded",
    "turned",
    "widest_clearance",
]
