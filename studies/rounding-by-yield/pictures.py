"""Draw the two pictures of the project's front page: the rounding plot of this study, and one pair at the end of its pull.

    contactfe sweep studies/rounding-by-yield/study.toml --out results
    python studies/rounding-by-yield/pictures.py results

writes rounding.png and pair.png beside this file, with 64 colours, so that each stays below 80 kB.
"""

from __future__ import annotations

import io
import sys
from pathlib import Path

from matplotlib.figure import Figure
from PIL import Image

from contactfe import parse_case, solve_case
from contactfe.report import pair_figure, study_charts
from contactfe.study.tables import read_rows

HERE = Path(__file__).parent
WIDTH = 760  # pixels; about what a page beside text shows
MOST = 80_000  # bytes
CASE = {
    "format": 1,
    "name": "twelve points, 40 % rounded",
    "fastener": {"size": "M10", "grade": "8.8", "rounding": "40 %"},
    "wrench": {"profile": "ring-twelve"},
}


def small(figure: Figure, path: Path, method: Image.Quantize) -> None:
    """Write a figure as PNG of `WIDTH` pixels and few colours: an octree keeps the colours of lines, the median cut shades.

    Raises:
        ValueError: it is larger than `MOST`.
    """
    buffer = io.BytesIO()
    figure.savefig(buffer, format="png", dpi=2 * WIDTH / figure.get_figwidth())
    picture = Image.open(buffer).convert("RGB")
    picture = picture.resize((WIDTH, round(WIDTH * picture.height / picture.width)), Image.Resampling.LANCZOS)
    picture.quantize(64, method=method, dither=Image.Dither.NONE).save(path, optimize=True)
    if path.stat().st_size > MOST:
        raise ValueError(f"{path} has {path.stat().st_size} bytes, more than {MOST}")


def main(results: Path) -> None:
    """Draw both pictures from a folder of results."""
    small(
        study_charts(read_rows(results / "results.csv"))["comparison"],
        HERE / "rounding.png",
        Image.Quantize.FASTOCTREE,
    )
    small(pair_figure(solve_case(parse_case(CASE))), HERE / "pair.png", Image.Quantize.MEDIANCUT)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
