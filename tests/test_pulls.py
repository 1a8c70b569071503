"""The next pull: what is left of the corners, against plane geometry by a general library, and what still holds."""

from __future__ import annotations

import functools
import itertools
import json
import math
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from cases import COARSE, built, case, slip
from report_cases import meetings

import contactfe.turn.build as turn_build
from contactfe.case import PullSeries, least_worn, record_of, solve_case, solve_pulls, wear_at
from contactfe.errors import GeometryError
from contactfe.profile import (
    as_polygon,
    equivalent_rounding,
    fastener_outline,
    sector_of,
    swept_floor,
    turned_diameter,
    worn_outline,
)
from contactfe.report import Units, pulls_figure, reading
from contactfe.turn import crushed_runs, torque_curve, with_fastener

BAR = {"stock": "bar"}
NO_NEXT = "the bar yields through in torsion before the grip is lost, so there is no next pull"


@functools.cache
def series(profile: str, pulls: int = 3) -> PullSeries:
    return solve_pulls(case(profile, fastener=BAR, mesh=COARSE), pulls)


@pytest.mark.parametrize("profile", ["ring-six", "ring-spline", "open-end"])
def test_every_pull_holds_less_and_wears_more(profile: str) -> None:
    found = series(profile)
    torques = [p.torque_Nm for p in found.pulls]
    assert [p.ended_by for p in found.pulls] == ["grip"] * 3
    assert all(after < before for before, after in itertools.pairwise(torques))
    assert torques[-1] > 0.4 * torques[0]
    roundings = [w.rounding for w in found.worn]
    assert len(roundings) == 4
    assert all(after > before for before, after in itertools.pairwise(roundings))
    flats = [w.flat_mm for w in found.worn]
    assert all(after < before for before, after in itertools.pairwise(flats))
    assert all(p.record.curve.audit.passed() for p in found.pulls)
    assert found.rounding_if_over is not None
    assert found.rounding_if_over > roundings[1]


@pytest.mark.parametrize("profile", ["ring-six", "open-end"])
def test_the_work_of_a_pull_pays_for_the_material_that_it_displaced(profile: str) -> None:
    """Energy, per corner that was pressed: cap times displaced volume is no more than the work up to the top."""
    found = series(profile)
    for pull, after in zip(found.pulls, found.worn[1:], strict=True):
        record = pull.record
        top = int(np.argmax(record.curve.torque)) + 1
        work = np.trapezoid(record.curve.torque[:top], record.curve.rotation[:top]) * 1e3  # N mm
        pressed = 6 if profile == "ring-six" else 2
        volume = (pull.before.sector.area() - after.sector.area()) * pressed / 6
        crush = record.built.law.cap * volume * record.built.case.fastener.engaged_depth
        assert 0.2 * work < crush < work


def test_two_runs_give_the_same_bytes() -> None:
    one, other = (
        json.dumps(solve_pulls(case("ring-six", fastener=BAR, mesh=COARSE), 2).to_dict()) for _ in range(2)
    )
    assert one == other


def test_only_the_fastener_is_meshed_again(monkeypatch: pytest.MonkeyPatch) -> None:
    meshed = []
    for name in ("mesh_outline", "mesh_fastener"):
        real = getattr(turn_build, name)
        monkeypatch.setattr(
            turn_build, name, lambda *a, name=name, real=real: meshed.append(name) or real(*a)
        )
    found = solve_pulls(case("open-end", fastener=BAR, mesh=COARSE), 2)
    assert len(found.pulls) == 2
    assert meshed == ["mesh_fastener", "mesh_outline", "mesh_fastener"]  # the last one is worn


STIFF = {"elastic_modulus": "1000 GPa"}
RIGID = case("ring-six", fastener={**BAR, "yield_strength": "10 MPa", **STIFF}, wrench=STIFF)


def test_a_rigid_pull_leaves_the_envelope_of_the_turned_opening() -> None:
    """Shapely: the new head cut by the opening at every rotation up to the top."""
    record = record_of(built(RIGID), torque_curve(built(RIGID)))
    pair, curve = record.built.pair, record.curve
    found = solve_pulls(RIGID, 1, record).worn[1].sector.polygon()
    left = new = shapely.Polygon(as_polygon(pair.fastener, 0.01).exterior)
    opening = shapely.Polygon(as_polygon(pair.wrench, 0.01).interiors[0])
    for solution in curve.solutions[: int(np.argmax(curve.torque)) + 1]:
        angle = pair.sense * solution.rotation
        left = left.intersection(shapely.affinity.rotate(opening, angle, origin=(0, 0), use_radians=True))
    assert found.symmetric_difference(left).area < 0.02 * (new.area - left.area)


@pytest.mark.parametrize("profile", ["ring-six", "ring-twelve", "open-end"])
def test_a_wrench_carried_over_the_corners_leaves_its_sweep(profile: str) -> None:
    """Shapely: the head less the wrench at many rotations; of every corner the worst is taken."""
    pair = built(case(profile)).pair
    sector = sector_of(pair.fastener, pair.flats, pair.first_flat)
    wrench, turn = as_polygon(pair.wrench, 0.02), math.radians(20)
    swept = sector.lowered(swept_floor(wrench, sector, pair.sense * turn)).polygon()
    left = shapely.Polygon(as_polygon(pair.fastener, 0.01).exterior)
    steps = np.append(np.arange(0.0, turn, math.radians(0.1)), turn)
    cut = shapely.unary_union(
        [
            shapely.affinity.rotate(wrench, pair.sense * a, origin=(0, 0), use_radians=True).intersection(
                left.buffer(0.1)
            )
            for a in steps
        ]
    )
    for k in range(pair.flats):
        turned = shapely.affinity.rotate(cut, 360 / pair.flats * k, origin=(0, 0))
        left = left.difference(turned)
    assert swept.symmetric_difference(left).area < 2e-3 * left.area


def test_a_worn_outline_holds_as_much_as_the_same_shape_drawn_by_hand() -> None:
    """The facet of one-sided wear, once as it is built for a case and once as if a pull had left it."""
    worn = case("ring-six", fastener={**BAR, "rounding": "40 %", "worn_side": "driven"})
    new = replace(worn, fastener=replace(worn.fastener, rounding=0.0))
    pair = built(new).pair
    before = sector_of(pair.fastener, pair.flats, pair.first_flat)
    after = sector_of(fastener_outline(worn.fastener), 6, 0.0)
    outline = worn_outline(pair.fastener, before, after, 16.0, new.fastener.corner_radius)
    curve = torque_curve(with_fastener(built(new), outline))
    assert curve.torque.max() == pytest.approx(slip(worn), rel=0.01)


def test_the_equivalent_rounding_of_a_turned_head_is_its_rounding() -> None:
    """Shapely: a hexagon and a circle, cut with each other."""
    corners = [(math.cos(a), math.sin(a)) for a in np.radians(np.arange(30, 390, 60))]
    hexagon = shapely.Polygon(np.array(corners) * 16 / math.sqrt(3))
    for rounding in (0.05, 0.3, 0.8):
        circle = shapely.Point(0, 0).buffer(turned_diameter(16.0, rounding) / 2, quad_segs=4000)
        lost = hexagon.area - hexagon.intersection(circle).area
        assert equivalent_rounding(lost, 16.0, 6) == pytest.approx(rounding, abs=2e-4)
    assert equivalent_rounding(0.0, 16.0, 6, 0.2) == pytest.approx(0.2, abs=1e-9)
    assert equivalent_rounding(1e3, 16.0, 6) == 1.0


def test_where_something_else_ends_the_pull_there_is_no_next_one() -> None:
    bolt = solve_pulls(case("ring-six", fastener={"stock": "bolt"}, mesh=COARSE), 3)
    assert (len(bolt.pulls), bolt.pulls[0].ended_by, bolt.after) == (1, "bolt", None)
    assert "twists off" in bolt.stopped and "no next pull" in bolt.stopped
    soft = solve_pulls(case("open-end", fastener=BAR, wrench={"yield_strength": "150 MPa"}, mesh=COARSE), 3)
    assert (len(soft.pulls), soft.pulls[0].ended_by) == (1, "wrench")
    assert "gives way" in soft.stopped


def test_a_harder_pull_wears_more_and_the_gentlest_wrench_comes_first() -> None:
    records = [solve_case(case(p, fastener=BAR, mesh=COARSE)) for p in ("open-end", "ring-six")]
    ring = records[1]
    wear = [wear_at(ring, share * ring.torque_Nm) for share in (0.2, 0.5, 0.9)]
    assert 0.0 <= wear[0] < wear[1] < wear[2] <= series("ring-six").worn[1].rounding
    order = least_worn(records)
    assert [r.built.case.wrench.profile for r, _ in order] == ["ring-six", "open-end"]
    assert order[0][1] < order[1][1]


def test_crush_lies_between_the_old_surface_and_the_wrench() -> None:
    record = series("ring-six").pulls[0].record
    built_, curve = record.built, record.curve
    top = curve.solutions[int(np.argmax(curve.torque))]
    head = shapely.Polygon(as_polygon(built_.pair.fastener, 0.01).exterior)
    runs = list(crushed_runs(built_, top))
    assert len(runs) >= 6
    for run in runs:
        inner = shapely.LineString(run[1:-1]) if len(run) > 3 else shapely.Point(run[1])
        assert head.buffer(1e-3).contains(inner)


def test_a_drawn_fastener_is_refused_with_a_way_out(tmp_path: Path) -> None:
    drawn = built(case("ring-six", mesh=COARSE))
    drawn = replace(drawn, case=replace(drawn.case, fastener=replace(drawn.case.fastener, shape="outline")))
    record = series("ring-six").pulls[0].record
    with pytest.raises(GeometryError, match="one pull"):
        solve_pulls(drawn.case, 2, replace(record, built=drawn))


CASE = """
format = 1
name = "three-pulls"
[fastener]
size = "M10"
grade = "8.8"
stock = "bar"
[wrench]
profile = "open-end"
[load]
pulls = 2
[mesh]
edge_at_contact = "0.4 mm"
edge_max = "3 mm"
"""


def test_the_command_line_says_and_writes_the_pulls(tmp_path: Path) -> None:
    (tmp_path / "case.toml").write_text(CASE)
    command = [sys.executable, "-m", "contactfe", "turn", str(tmp_path / "case.toml")]
    told = subprocess.run([*command, "--out", str(tmp_path / "out")], capture_output=True, text=True)
    assert told.returncode == 0, told.stderr
    assert "pulls on the same corners (2)" in told.stdout
    assert "after one slip the open-end wrench still delivers" in told.stdout.replace("\n    ", " ")
    assert "not piled up" in told.stdout
    assert (tmp_path / "out" / "pulls.png").read_bytes().startswith(b"\x89PNG")
    written = json.loads((tmp_path / "out" / "case.json").read_text())
    assert [row["pull"] for row in written["pulls"]["pulls"]] == [1, 2]
    assert "After one slip" in (tmp_path / "out" / "case.html").read_text()
    one = subprocess.run([*command, "--pulls", "1", "--json"], capture_output=True, text=True)
    assert "pulls" not in json.loads(one.stdout)


def test_the_figure_shows_every_state_of_the_corner() -> None:
    figure = pulls_figure(series("ring-six"))
    corner, bars = figure.axes
    assert len(corner.lines) == 4
    assert [bar.get_height() for bar in bars.patches] == [p.torque_Nm for p in series("ring-six").pulls]
    assert "mm" in corner.get_xlabel() and "N·m" in bars.get_ylabel()


@pytest.mark.parametrize("count", [1, 3, 20])
@pytest.mark.parametrize("units", ["si", "inch"])
def test_no_text_of_the_figure_meets_another(count: int, units: Units) -> None:
    """Also with as many pulls as the command takes: those that were solved, repeated."""
    found = series("ring-six")
    more = PullSeries(
        tuple(found.pulls[k % 3] for k in range(count)), found.after, NO_NEXT if count == 1 else "", None
    )
    with reading(units, [found.pulls[0].torque_Nm]):
        figure = pulls_figure(more)
    assert meetings(figure) == []
    assert figure.axes[0].get_xlabel() == f"across the corner ({'mm' if units == 'si' else 'in'})"
