"""`contactfe bench`: how fast this machine is, stage by stage, for studies, and against the ordinary way."""

from __future__ import annotations

import json
import os
import platform
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Any

import typer

from contactfe.cli.checks import file_problems
from contactfe.cli.output import say, say_json, say_table, tell
from contactfe.errors import InputError

_PROFILES = ("open-end", "ring-six", "ring-six-relieved", "ring-twelve", "ring-spline", "flare-nut")
_COARSE = "1.3 mm"
_ROUNDING = "20 %"
_FEW = ((10, 1), (10, 2))  # cases and workers of the studies
_MANY = ((100, 1), (100, 2), (1000, 1), (1000, 2), (2000, 2))
_COMPARISON = (
    "", "reduced", "whole", "times faster", "difference %", "factorisations per rotation", "solved, scaled to all",
)  # fmt: skip
_STUDIES = (
    "cases",
    "workers",
    "seconds",
    "s per case",
    "median case",
    "meshes",
    "peak MB",
    "disk MB",
    "failed",
)
_QUESTIONS = ("", "why", "band", "samples", "workers")
_STAGES = ("meshing", "assembly", "factorisation", "flexibility", "cold", "warm", "estimate")


def register(app: typer.Typer) -> None:
    """Add the command to an application."""

    @app.command(
        "bench",
        help="Time the stages of a case, studies, and the same curve by the whole finite-element system.",
    )
    def bench(
        quick: Annotated[
            bool, typer.Option("--quick", help="Two profiles, ten cases, a very coarse mesh.")
        ] = False,
        out: Annotated[
            Path | None,
            typer.Option(
                "--out", metavar="FILE", help="Write the numbers as JSON. Default: bench.json in this folder."
            ),
        ] = None,
        as_json: Annotated[
            bool, typer.Option("--json", help="Print JSON, and nothing else, on stdout.")
        ] = False,
    ) -> None:
        file = out or Path("bench.json")
        problems = file_problems(file, (".json",))
        if problems:
            raise InputError(problems, source="bench")
        from contactfe.files import write_text

        found = _measure(quick, lambda part: write_text(file, json.dumps(part, indent=1) + "\n"))
        if as_json:
            say_json(found)
            return
        _say_found(found)
        say(f"written: {file}")


def _measure(quick: bool, keep: Callable[[dict[str, Any]], None]) -> dict[str, Any]:
    """Run everything, say on the way what is being measured, and keep what is known after every part."""
    from threadpoolctl import threadpool_limits

    from contactfe.bench import bench_study, compare_with_full, question_times, stage_times, study_times

    edge = _COARSE if quick else None
    profiles = _PROFILES[:2] if quick else _PROFILES
    found: dict[str, Any] = {"format": 1, "quick": quick, "machine": _machine()}
    found |= {"stages": [], "comparison": [], "questions": [], "studies": []}
    with threadpool_limits(1):
        for profile in profiles:
            tell(f"stages of {profile}")
            found["stages"].append(asdict(stage_times(_case(profile, edge), 3 if quick else 7)))
            keep(found)
        for profile in profiles:
            tell(f"the whole system for {profile}")
            found["comparison"].append(asdict(compare_with_full(_case(profile, edge), 2 if quick else 8)))
            keep(found)
    for profile in profiles:
        tell(f"why and band for {profile}")
        found["questions"].append(asdict(question_times(_raw(profile, edge), 8 if quick else 128)))
        keep(found)
    for cases, workers in _FEW if quick else _MANY:
        tell(f"a study of {cases} cases with {workers} worker{'s' if workers > 1 else ''}")
        found["studies"].append(asdict(study_times(bench_study(cases, edge), workers)))
        keep(found)
    return found


def _case(profile: str, edge: str | None) -> Any:
    from contactfe.inputs import parse_case

    return parse_case(_raw(profile, edge), name=f"bench-{profile}")


def _raw(profile: str, edge: str | None) -> dict[str, Any]:
    raw: dict[str, Any] = {
        "format": 1,
        "fastener": {"size": "M10", "grade": "8.8", "rounding": _ROUNDING},
        "wrench": {"profile": profile},
    }
    if edge is not None:
        raw["mesh"] = {"edge_at_contact": edge}
    return raw


def _machine() -> dict[str, Any]:
    """What the numbers depend on; nothing that names the machine."""
    import numpy
    import scipy

    from contactfe import __version__

    return {
        "contactfe": __version__,
        "python": platform.python_version(),
        "numpy": numpy.__version__,
        "scipy": scipy.__version__,
        "system": platform.system(),
        "processor": _processor(),
        "cores": os.cpu_count(),
    }


def _processor() -> str:
    try:
        with Path("/proc/cpuinfo").open(encoding="utf-8") as file:
            return next(line.partition(":")[2].strip() for line in file if line.startswith("model name"))
    except (OSError, StopIteration):
        return platform.processor() or platform.machine()


def _say_found(found: dict[str, Any]) -> None:
    machine = found["machine"]
    say(
        f"{machine['processor']}, {machine['cores']} cores; Python {machine['python']}, "
        f"numpy {machine['numpy']}, scipy {machine['scipy']}"
    )
    say("one case, seconds on one core")
    say_table([_stage_row(s) for s in found["stages"]], ("", "unknowns", *_STAGES, "rotations"))
    say("one curve by the reduced method and by the whole system, seconds")
    say_table([_comparison_row(c) for c in found["comparison"]], _COMPARISON)
    say("an explanation on one core, a band, seconds")
    say_table([_question_row(q) for q in found["questions"]], _QUESTIONS)
    say("studies")
    say_table([_study_row(s) for s in found["studies"]], _STUDIES)
    seconds = {(s["cases"], s["workers"]): s["seconds"] for s in found["studies"]}
    for cases, one in ((n, t) for (n, workers), t in seconds.items() if workers == 1):
        say(f"  {cases} cases: two workers are {one / seconds[cases, 2]:.2f} times as fast as one")


def _stage_row(s: dict[str, Any]) -> list[str]:
    return [s["profile"], str(s["unknowns"]), *(_s(s[k]) for k in _STAGES), str(s["rotations"])]


def _comparison_row(c: dict[str, Any]) -> list[str]:
    times = [
        _s(c["reduced_seconds"]),
        _s(c["full_seconds"]),
        f"{c['ratio']:.0f}",
        f"{100 * c['difference']:.1e}",
    ]
    solved = f"{c['solved_rotations']} of {c['rotations']}"
    return [c["profile"], *times, f"{c['factorisations_per_rotation']:.0f}", solved]


def _question_row(q: dict[str, Any]) -> list[str]:
    return [q["profile"], f"{q['explanation']:.1f}", f"{q['band']:.1f}", str(q["samples"]), str(q["workers"])]


def _study_row(s: dict[str, Any]) -> list[str]:
    memory = "-" if s["peak_memory_MB"] is None else f"{s['peak_memory_MB']:.0f}"
    times = [f"{s['seconds']:.1f}", _s(s["seconds_per_case"]), _s(s["median_case_seconds"])]
    return [
        str(s["cases"]),
        str(s["workers"]),
        *times,
        str(s["bodies"]),
        memory,
        f"{s['bodies_on_disk_MB']:.0f}",
        str(s["failed"]),
    ]


def _s(seconds: float) -> str:
    return f"{seconds:.3f}"
