#!/usr/bin/env bash
# Rank the invented county in sample_data/ into demo_output/ranked.gpkg, and say what to open.
set -euo pipefail
cd "$(dirname "$0")/.."
. scripts/environment.sh

install_into_venv demo -e .
.venv/bin/reachrank demo demo_output --county sample_data "$@"
