#!/bin/sh
# Every interpreter at hand that the package declares, and the oldest one with the lowest declared versions: the wheel in
# an empty environment, run from an empty folder, then some tests.
#
#     sh tests/matrix.sh            # wheels, the demo and the quick verification
#     sh tests/matrix.sh --tests    # and the ordinary tests, with each
#
# Interpreters are looked for on the path and, where PYENV_ROOT or ~/.pyenv holds some, there. Exit code 1 when any fails.
set -u
root=$(cd "$(dirname "$0")/.." && pwd)
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT INT TERM
failed=0

interpreter() { # its path for a version such as 3.12, nothing when there is none
    for found in "${PYENV_ROOT:-$HOME/.pyenv}/versions/$1".*/bin/python "$(command -v "python$1")"; do
        if [ -x "$found" ] && "$found" -c "import sys, venv; sys.exit(sys.version_info[:2] != (${1%.*}, ${1#*.}))" 2>/dev/null
        then echo "$found"; return; fi
    done
}

lowest() { # the declared lower bounds of what a run needs, as pins
    "$1" - "$root/pyproject.toml" <<'PY'
import sys, tomllib
with open(sys.argv[1], "rb") as file:
    project = tomllib.load(file)["project"]
print("\n".join(line.replace(">=", "==") for line in project["dependencies"]))
PY
}

tried() { # name, interpreter, file of constraints or nothing
    place="$work/$1"
    mkdir -p "$place/empty"
    "$2" -m venv "$place/venv" || return 1
    "$place/venv/bin/python" -m pip install -q ${3:+-c "$3"} "$work"/dist/*.whl || return 1
    (
        cd "$place/empty" || exit 1
        "$place/venv/bin/contactfe" sweep --demo --quiet --out demo > said || exit 1
        "$place/venv/bin/contactfe" verify --quick > verified || { tail -20 verified; exit 1; }
    ) || return 1
    if [ "$tests" = yes ]; then
        "$place/venv/bin/python" -m pip install -q "$(ls "$work"/dist/*.whl)[test]" || return 1
        (cd "$root" && "$place/venv/bin/python" -m pytest -q -p no:cacheprovider) || return 1
    fi
}

tests=no
[ "${1:-}" = --tests ] && tests=yes
first=
for version in 3.11 3.12 3.13; do
    python=$(interpreter "$version")
    if [ -z "$python" ]; then echo "$version: not at hand"; continue; fi
    if [ -z "$first" ]; then
        first=$python
        "$python" -m pip wheel -q --no-deps -w "$work/dist" "$root" || exit 1
        lowest "$python" > "$work/lowest.txt"
    fi
    if tried "$version" "$python" ""; then echo "$version: good"; else echo "$version: FAILED"; failed=1; fi
done
[ -n "$first" ] || { echo "no interpreter at hand"; exit 1; }
if tried lowest "$first" "$work/lowest.txt"; then echo "lowest versions: good"; else echo "lowest versions: FAILED"; failed=1; fi
exit $failed
