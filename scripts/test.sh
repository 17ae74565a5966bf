#!/usr/bin/env bash
# Everything that must pass: style, types, tests. Arguments go to pytest: scripts/test.sh -k bends
set -euo pipefail
cd "$(dirname "$0")/.."
. scripts/environment.sh

install_into_venv test -e '.[test,browser]'
# The judge of our GeoPackages. Its own dependency, GDAL's Python binding, would have to be built
# against a system library; the one file that we run does not need it.
install_into_venv validator --no-deps gdal-utils

failed=""
run() {
    printf '\n== %s\n' "$*" >&2
    .venv/bin/python -m "$@" || failed="$failed $1"
}
run ruff check .
run ruff format --check .
run mypy
run pytest "$@"
[ $# -gt 0 ] || run pytest --quiet --doctest-modules reachrank
[ -z "$failed" ] || { printf '\nFailed:%s\n' "$failed" >&2; exit 1; }
