"""Bodies are built once: what makes another one, what is stored, and that the answer stays the same."""

from __future__ import annotations

import os
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from contactfe import CaseInput, parse_case, solve_case
from contactfe.errors import ContactFEError
from contactfe.study import work
from contactfe.study.plan import parse_plan
from contactfe.study.work import BodyTask, CaseTask, needs_of, run_task
from contactfe.turn import Bodies, BodyStore, assemble_case, bodies, body_keys, compute_body, outlines


def case_of(**changes: Any) -> CaseInput:
    """A coarse M10 case; changes are "table__key" = value."""
    raw: dict[str, Any] = {
        "format": 1,
        "fastener": {"size": "M10", "grade": "8.8", "rounding": "20 %"},
        "wrench": {"profile": "open-end"},
        "mesh": {"edge_at_contact": "0.64 mm"},
    }
    for path, value in changes.items():
        table, _, key = path.partition("__")
        raw.setdefault(table, {})[key] = value
    return parse_case(raw)


def task_of(case: CaseInput, folder: Path, *, like: CaseInput | None = None, stored: bool = True) -> CaseTask:
    """The task of a case that keeps its bodies in a folder; with the addresses of another case where one is given."""
    needs = needs_of(like or case)
    return CaseTask("id", case, needs, str(folder), kept=frozenset(n.key for n in needs if stored))


SAME = (
    {"fastener__yield_strength": "700 MPa"},
    {"fastener__grade": "10.9"},
    {"fastener__elastic_modulus": "70 GPa"},
    {"fastener__engaged_depth": "5 mm"},
    {"wrench__thickness": "9 mm"},
    {"wrench__yield_strength": "1000 MPa"},
    {"wrench__elastic_modulus": "190 GPa"},
    {"contact__friction": 0.3},
    {"contact__constraint_factor": 1.3},
    {"load__lever_arm": "200 mm"},
)
OTHER_FASTENER = (
    {"fastener__rounding": "30 %"},
    {"fastener__worn_side": "driven"},
    {"fastener__corner": "0.4 mm"},
    {"fastener__core_radius": "5 mm"},
    {"fastener__poisson_ratio": 0.29},
)
OTHER_WRENCH = (
    {"wrench__opening": "tight"},
    {"wrench__opening": "16.5 mm"},
    {"wrench__poisson_ratio": 0.29},
    {"wrench__head_width": "37 mm"},
    {"wrench__offset_angle": "10 deg"},
)
BOTH = (
    {"contact__plane": "strain"},
    {"mesh__edge_max": "1.8 mm"},
    {"mesh__growth": 0.25},
    {"fastener__undersize": "0.1 mm"},
)


@pytest.mark.parametrize("change", SAME, ids=str)
def test_what_makes_no_new_body(change: dict[str, Any]) -> None:
    assert body_keys(case_of(**change)) == body_keys(case_of())


@pytest.mark.parametrize("change", OTHER_FASTENER, ids=str)
def test_what_makes_another_fastener_only(change: dict[str, Any]) -> None:
    own, other = body_keys(case_of()), body_keys(case_of(**change))
    assert own.fastener != other.fastener
    if "corner" not in str(change):  # a blunter new fastener touches the wrench elsewhere
        assert own.wrench == other.wrench


@pytest.mark.parametrize("change", OTHER_WRENCH, ids=str)
def test_what_makes_another_wrench_only(change: dict[str, Any]) -> None:
    own, other = body_keys(case_of()), body_keys(case_of(**change))
    assert own.wrench != other.wrench and own.fastener == other.fastener


def test_one_mesh_is_shared_by_the_openings_of_a_standard_and_not_by_other_heads() -> None:
    own = body_keys(case_of()).openings
    for opening in ("tight", "loose", "16.02 mm", "16.37 mm"):
        assert body_keys(case_of(wrench__opening=opening)).openings == own
    assert own != body_keys(case_of()).wrench
    assert own != body_keys(case_of(wrench__opening="16.5 mm")).openings
    assert own != body_keys(case_of(wrench__head_width="37 mm")).openings


@pytest.mark.parametrize("change", BOTH, ids=str)
def test_what_makes_both_anew(change: dict[str, Any]) -> None:
    own, other = body_keys(case_of()), body_keys(case_of(**change))
    assert own.wrench != other.wrench and own.fastener != other.fastener


def test_a_new_revision_of_the_solver_makes_new_bodies(monkeypatch: pytest.MonkeyPatch) -> None:
    own = body_keys(case_of())
    monkeypatch.setattr(bodies, "SOLVER_REVISION", bodies.SOLVER_REVISION + 1)
    bodies._fastener_key.cache_clear()
    bodies._wrench_key.cache_clear()
    other = body_keys(case_of())
    bodies._fastener_key.cache_clear()
    bodies._wrench_key.cache_clear()
    assert own.fastener != other.fastener and own.wrench != other.wrench


def test_a_case_from_stored_bodies_is_the_case(tmp_path: Path) -> None:
    """Flexibility goes with one over the modulus, so bodies solved at one modulus give any other one's
    answer."""
    for case in (
        case_of(),
        case_of(fastener__elastic_modulus="100 GPa", wrench__thickness="9 mm", wrench__opening="loose"),
    ):
        outcome = run_task(task_of(case, tmp_path))
        assert outcome.status == "ok" and outcome.answers is not None and outcome.record is not None
        direct = solve_case(case).answers()
        for name, value in direct.items():
            same = value if value is None or isinstance(value, str) else pytest.approx(value, rel=1e-7)
            assert outcome.answers[name] == same, name
        assert outcome.record["inputs"]["wrench"]["thickness"]


def test_stored_bodies_are_mapped_read_only_and_the_same_to_the_bit(tmp_path: Path) -> None:
    case, store = case_of(), BodyStore(tmp_path)
    key = body_keys(case).wrench
    assert run_task(BodyTask(key, "wrench", case, str(tmp_path))).status == "ok"
    found = store.load(key, outlines(case).wrench)
    assert found is not None
    assert isinstance(found.flexibility.matrix.base, np.memmap)
    assert not found.flexibility.matrix.flags.writeable
    fresh = compute_body(case, "wrench")
    assert np.array_equal(found.flexibility.matrix, fresh.flexibility.matrix)
    assert np.array_equal(found.mesh.nodes, fresh.mesh.nodes) and np.array_equal(
        found.mesh.boundary.span, fresh.mesh.boundary.span
    )
    assert found.flexibility.observed.keys() == fresh.flexibility.observed.keys()
    for name, row in fresh.flexibility.observed.items():
        assert np.array_equal(found.flexibility.observed[name], row)
    assert store.bytes_used() > 1e5


def test_a_damaged_body_is_built_again(tmp_path: Path) -> None:
    case, key = case_of(), body_keys(case_of()).wrench
    Bodies(BodyStore(tmp_path)).body(case, "wrench")
    matrix = tmp_path / key / "flexibility.matrix.npy"
    whole = matrix.read_bytes()
    matrix.write_bytes(whole[:1000])
    store = BodyStore(tmp_path)
    assert not store.has(key) and store.load(key, outlines(case).wrench) is None
    Bodies(store).body(case, "wrench")
    assert matrix.read_bytes() == whole
    (tmp_path / key / "body.json").write_text("{}")
    assert not store.has(key)


@pytest.mark.parametrize("kind", ["nan", "doubled", "one bit"])
def test_a_damaged_number_never_gives_an_answer(kind: str, tmp_path: Path) -> None:
    """Flexibilities of nan gave a row of 0 N m, doubled ones another torque: sizes alone do not tell."""
    case, keys = case_of(), body_keys(case_of())
    task = task_of(case, tmp_path)
    before = run_task(task)
    for file in sorted(tmp_path.glob("*/*.npy")):
        values = np.load(file)
        if kind == "one bit" or values.dtype.kind != "f":
            content = bytearray(file.read_bytes())
            content[-3] ^= 1
            file.write_bytes(bytes(content))
        else:
            np.save(file, values * (np.nan if kind == "nan" else 2.0))
    work._bodies_in.cache_clear()  # as in another process
    assert BodyStore(tmp_path).has(keys.wrench)
    after = run_task(task)
    assert after.status == "ok" and after.answers == before.answers
    found = BodyStore(tmp_path).load(keys.wrench, outlines(case).wrench)
    assert found is not None and np.isfinite(found.flexibility.matrix).all()


def test_bodies_beyond_the_limit_are_removed_the_latest_used_stay(tmp_path: Path) -> None:
    case, keys, store = case_of(), body_keys(case_of()), BodyStore(tmp_path)
    Bodies(store).body(case, "wrench")
    one = store.bytes_used()
    Bodies(store).body(case, "fastener")
    os.utime(tmp_path / keys.fastener / "body.json", (1.0, 1.0))
    assert store.trim(1e12) == 0
    assert store.trim(1.5 * one) == 1 and store.has(keys.wrench) and not store.has(keys.fastener)
    assert store.trim(0) == 1 and store.bytes_used() == 0


def test_a_file_that_cannot_be_read_is_no_lasting_failure(tmp_path: Path) -> None:
    case = case_of()
    lost = replace(case, wrench=replace(case.wrench, profile="outline", outline=str(tmp_path / "gone.toml")))
    outcome = run_task(task_of(lost, tmp_path, like=case))
    assert outcome.status == "failed" and not outcome.lasting


def test_a_second_writer_leaves_a_stored_body_alone(tmp_path: Path) -> None:
    case, store = case_of(), BodyStore(tmp_path)
    key = body_keys(case).wrench
    body = Bodies(store).body(case, "wrench")
    stamp = (tmp_path / key / "body.json").stat().st_mtime_ns
    store.save(key, body)
    assert (tmp_path / key / "body.json").stat().st_mtime_ns == stamp
    assert not list(tmp_path.glob("*.part"))


def test_a_body_of_one_case_is_not_stored(tmp_path: Path) -> None:
    case = case_of()
    outcome = run_task(task_of(case, tmp_path, stored=False))
    assert outcome.status == "ok" and not list(tmp_path.iterdir())
    stored = run_task(task_of(case, tmp_path))
    assert stored.answers == outcome.answers


def test_a_folder_that_cannot_be_written_is_an_error_not_a_failed_case(tmp_path: Path) -> None:
    (tmp_path / "bodies").write_text("a file stands here")
    case = case_of()
    with pytest.raises(ContactFEError) as caught:
        run_task(task_of(case, tmp_path / "bodies"))
    assert caught.value.slug == "not-writable"


def test_a_geometry_that_cannot_be_built_is_a_lasting_failure_and_a_surprise_is_not(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    case = case_of()
    impossible = replace(case, wrench=replace(case.wrench, profile="no-such-profile"))
    outcome = run_task(task_of(impossible, tmp_path, like=case))
    assert outcome.status == "failed" and outcome.lasting and "no-such-profile" in outcome.reason
    monkeypatch.setattr("contactfe.study.work.assemble_case", lambda *_: 1 / 0)
    surprise = run_task(task_of(case, tmp_path))
    assert surprise.status == "failed" and not surprise.lasting
    assert surprise.reason == "unexpected ZeroDivisionError: division by zero"


def test_assembling_does_not_change_the_bodies(tmp_path: Path) -> None:
    case, stored = case_of(wrench__elastic_modulus="100 GPa"), Bodies(BodyStore(tmp_path))
    fastener, wrench = stored.body(case, "fastener"), stored.body(case, "wrench")
    before = np.array(wrench.flexibility.matrix)
    built = assemble_case(case, fastener, wrench)
    assert np.array_equal(before, wrench.flexibility.matrix)
    assert np.allclose(built.wrench.flexibility.matrix, before * 206.0 / 100.0, rtol=1e-12)
    ratio = 206.0 / 100.0 * case.fastener.engaged_depth / case.wrench.thickness
    assert np.allclose(built.rig.flexibilities[1].matrix, before * ratio, rtol=1e-12)
    shutil.rmtree(tmp_path)


def test_an_outline_that_was_edited_is_read_again(tmp_path: Path) -> None:
    meshes = Path(__file__).resolve().parent.parent / "meshes"
    torques = []
    for source in ("ring-six-16mm.toml", "ring-twelve-16mm.toml"):
        shutil.copy(meshes / source, tmp_path / "wrench.toml")
        case = parse_case(
            {
                "format": 1,
                "fastener": {"across_flats": "16 mm", "engaged_depth": "6.4 mm", "grade": "8.8"},
                "wrench": {"profile": "outline", "outline": "wrench.toml", "thickness": "9 mm"},
                "mesh": {"edge_at_contact": "0.64 mm"},
            },
            folder=tmp_path,
        )
        outcome = run_task(task_of(case, tmp_path / "bodies"))
        assert outcome.answers is not None, outcome.reason
        torques.append(outcome.answers["slip_torque_Nm"])
    assert torques[1] < 0.9 * torques[0]  # a ring with twelve points holds less


def test_what_decides_how_much_of_the_opening_is_reached_makes_another_wrench() -> None:
    keys = [body_keys(case_of(fastener__corner=corner)) for corner in ("0.1 mm", "0.5 mm")]
    assert keys[0].wrench != keys[1].wrench


def test_sampled_openings_share_a_mesh_and_swept_ones_have_their_own(tmp_path: Path) -> None:
    """The bound on slip is the one that holds for the samples of a band: 0.3 % of the wrench's own mesh."""
    base = {
        "fastener": {"size": "M10", "grade": "8.8"},
        "wrench": {"profile": "ring-six"},
        "mesh": {"edge_at_contact": "0.4 mm"},
    }
    widths = {"low": "16.05 mm", "high": "16.27 mm"}
    sample = {"method": "sobol", "n": 4, "seed": 3, "wrench.opening": widths}
    sampled = parse_plan({"format": 1, "base": base, "sample": sample}).cases
    assert len({needs_of(case.case, case.wrench)[1].key for case in sampled}) == 1
    swept = parse_plan(
        {"format": 1, "base": base, "sweep": {"wrench.opening": [case.values[0] for case in sampled]}}
    ).cases
    assert [case.case for case in swept] != [] and len({needs_of(c.case)[1].key for c in swept}) == 4
    for one, own in zip(sampled, swept, strict=True):
        assert one.case.wrench.opening == own.case.wrench.opening and one.case_id != own.case_id
        task = CaseTask("id", one.case, needs_of(one.case, one.wrench), str(tmp_path))
        shared, fresh = run_task(task).answers, run_task(task_of(own.case, tmp_path)).answers
        assert shared is not None and fresh is not None
        assert shared["slip_torque_Nm"] == pytest.approx(fresh["slip_torque_Nm"], rel=3e-3)
