#!/usr/bin/env bash
# Install the programs that the tests look at our results with, from Debian's or Ubuntu's packages:
# QGIS for the layers, Chromium for the page, pdftotext and pdftoppm for the sheets. Does nothing for
# what is there already. Needs to be root, or to have sudo.
set -euo pipefail

have_browser() {
    local name
    for name in "${REACHRANK_CHROMIUM:-}" chromium chromium-browser google-chrome; do
        if [ -n "$name" ] && command -v "$name" >/dev/null 2>&1; then return 0; fi
    done
    return 1
}
have_qgis() { /usr/bin/python3 -c 'import qgis.core' >/dev/null 2>&1; }
have_pdf() { command -v pdftotext >/dev/null 2>&1 && command -v pdftoppm >/dev/null 2>&1; }

wanted=()
have_browser || wanted+=(chromium fonts-dejavu-core)
have_qgis || wanted+=(qgis python3-qgis qgis-providers xvfb)
have_pdf || wanted+=(poppler-utils)
if [ ${#wanted[@]} -eq 0 ]; then exit 0; fi

if ! command -v apt-get >/dev/null 2>&1; then
    printf 'There is no apt-get to install these with: %s\n' "${wanted[*]}" >&2
    exit 1
fi
as_root=()
[ "$(id -u)" -eq 0 ] || as_root=(sudo)
printf 'Installing %s; QGIS takes about 1.5 GB.\n' "${wanted[*]}" >&2
"${as_root[@]}" apt-get update -qq
"${as_root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -qq -y --no-install-recommends \
    "${wanted[@]}" >/dev/null
