#!/usr/bin/env bash
# Install the browser that the tests of the page and the picture of it use: Debian's and Ubuntu's
# package chromium, with plain fonts. Does nothing where a Chromium is there already.
set -euo pipefail

for name in "${REACHRANK_CHROMIUM:-}" chromium chromium-browser google-chrome; do
    if [ -n "$name" ] && command -v "$name" >/dev/null 2>&1; then
        printf 'Using the browser %s.\n' "$(command -v "$name")" >&2
        exit 0
    fi
done
if ! command -v apt-get >/dev/null 2>&1; then
    printf 'No Chromium was found and no apt-get to install one; set REACHRANK_CHROMIUM to a browser.\n' >&2
    exit 1
fi
as_root=()
[ "$(id -u)" -eq 0 ] || as_root=(sudo)
printf 'Installing chromium.\n' >&2
"${as_root[@]}" apt-get update -qq
"${as_root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -qq -y --no-install-recommends \
    chromium fonts-dejavu-core >/dev/null
command -v chromium >&2
