"""The address of a case: what it is asked, by which revision of the solver, as one hash."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

from contactfe.inputs import CaseInput
from contactfe.turn import SOLVER_REVISION, Side, digest, file_hash


def case_id(
    case: CaseInput, revision: int = SOLVER_REVISION, *, band: str | None = None, wrench: Side = "wrench"
) -> str:
    """Hash of the resolved inputs and the solver's revision, of its `band` where it has one, and of a `wrench` that is
    not meshed for it alone; 32 hexadecimal digits.

    The name, the cautions and the words of the rules are not part of it; of an outline its content is, not
    its path.

    Raises:
        ContactFEError: an outline file cannot be read.
    """
    record = asdict(case)
    del record["name"], record["cautions"], record["origins_items"]
    del record["wrench"]["rules_items"]
    for body in ("fastener", "wrench"):
        if record[body]["outline"] is not None:
            record[body]["outline"] = file_hash(Path(record[body]["outline"]))
    more = ({} if band is None else {"band": band}) | ({} if wrench == "wrench" else {"wrench": wrench})
    return digest({"solver_revision": revision, "case": record} | more)


def solver_revision() -> int:
    """The revision of the solver of this process."""
    return SOLVER_REVISION
