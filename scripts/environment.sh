# Sourced by demo.sh and test.sh: finds a Python, makes .venv, installs what is asked for.
# Needs bash and a Python 3.11, 3.12 or 3.13 with its venv module; nothing else from the system.

say() { printf '%s\n' "$*" >&2; }

# Print the first Python on the PATH that fits. A name may exist and still not run (version
# managers leave such names), so each is tried.
fitting_python() {
    local name found="" without_venv=""
    for name in python3.13 python3.12 python3.11 python3 python; do
        command -v "$name" >/dev/null 2>&1 || continue
        "$name" -c 'import sys; sys.exit(not (3, 11) <= sys.version_info[:2] <= (3, 13))' \
            >/dev/null 2>&1 || continue
        if "$name" -c 'import ensurepip, venv' >/dev/null 2>&1; then
            found=$name
            break
        fi
        without_venv=${without_venv:-$name}
    done
    if [ -n "$found" ]; then
        printf '%s\n' "$found"
    elif [ -n "$without_venv" ]; then
        say "$without_venv has no venv module; on Debian and Ubuntu: sudo apt install $(
            "$without_venv" -c 'import sys; print("python%d.%d-venv" % sys.version_info[:2])')"
        return 1
    else
        say "No Python 3.11, 3.12 or 3.13 was found on the PATH; install one from python.org or your system."
        return 1
    fi
}

# install_into_venv NAME PIP-ARGUMENTS...: make .venv if it is missing or broken, and install once;
# again only when pyproject.toml or the arguments change. The install is editable, so changed
# sources need no new one.
install_into_venv() {
    local name=$1 python stamp wanted
    shift
    if ! .venv/bin/python -c 'import pip' >/dev/null 2>&1; then
        python=$(fitting_python) || exit 1
        say "Making .venv with $("$python" --version)."
        rm -rf .venv
        "$python" -m venv .venv || { say "Could not make .venv with $python."; exit 1; }
    fi
    stamp=.venv/installed-$name
    wanted="$(cksum < pyproject.toml) $*"
    [ -f "$stamp" ] && [ "$(cat "$stamp")" = "$wanted" ] && return
    say "Installing reachrank and its libraries into .venv; the first time takes a minute or two."
    .venv/bin/python -m pip install --quiet --disable-pip-version-check "$@" || {
        say "The install failed; the lines above say why. It needs a way to the Python package index."
        exit 1
    }
    printf '%s' "$wanted" > "$stamp"
}
