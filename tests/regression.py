"""Numbers that this revision of the solver gave when they were stored: own numbers, not known answers.

    python tests/regression.py

writes them anew, with the revision that they belong to. A change of answers without a new revision would mix two
solvers in one stored study; `test_regression.py` notices.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from contactfe import parse_case, solve_case
from contactfe.turn import SOLVER_REVISION

FILE = Path(__file__).parent / "data" / "regression.json"
KEYS = (
    "torque_Nm",
    "ended_by",
    "slip_torque_Nm",
    "wrench_torque_Nm",
    "twist_off_torque_Nm",
    "onset_torque_Nm",
)
COARSE = {"edge_at_contact": "0.4 mm", "edge_max": "3 mm"}
CASES: dict[str, dict[str, Any]] = {
    "new hexagon, six-point ring": {"wrench": {"profile": "ring-six"}},
    "worn hexagon, twelve-point ring": {
        "fastener": {"rounding": "40 %"},
        "wrench": {"profile": "ring-twelve"},
    },
    "worn hexagon, spline ring": {"fastener": {"rounding": "20 %"}, "wrench": {"profile": "ring-spline"}},
    "open end, pulled at 200 mm": {"wrench": {"profile": "open-end"}, "load": {"lever_arm": "200 mm"}},
    "flare-nut wrench, least friction": {"wrench": {"profile": "flare-nut"}, "contact": {"friction": 0.1}},
    "thin ring": {"wrench": {"profile": "ring-six", "outside_diameter": "22 mm"}},
    "bolt": {"fastener": {"stock": "bolt"}, "wrench": {"profile": "ring-six-relieved"}},
    "driven side worn": {
        "fastener": {"rounding": "40 %", "worn_side": "driven"},
        "wrench": {"profile": "ring-six"},
        "load": {"direction": "clockwise"},
    },
    "loose opening": {"wrench": {"profile": "ring-spline", "opening": "loose"}},
}


def answers(name: str) -> dict[str, Any]:
    """The stored answers of a case, as this solver gives them."""
    tables = CASES[name]
    fastener = {"size": "M10", "grade": "8.8"} | tables.get("fastener", {})
    case = {"format": 1, "name": name, "mesh": COARSE} | tables | {"fastener": fastener}
    found = solve_case(parse_case(case)).answers()
    return {key: found[key] for key in KEYS}


def main() -> None:
    """Store the answers of this solver."""
    stored = {"solver_revision": SOLVER_REVISION, "answers": {name: answers(name) for name in CASES}}
    FILE.write_text(json.dumps(stored, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
