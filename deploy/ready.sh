# Sourced by up.sh and test.sh: makes .venv and fills it from a hash-locked list.
# Says what is missing and the one command that mends it; installs system packages only as root.

say() { printf '%s\n' "$*"; }
die() { printf '%s\n' "$*" >&2; exit 1; }

step() { # words, command...: runs it, shows each second that it goes on, and its log if it fails
    local words="$1" log pid status=0 began=$SECONDS
    shift
    log="$(mktemp)"
    "$@" >"$log" 2>&1 &
    pid=$!
    # What runs in the background does not hear Ctrl-C by itself.
    trap 'kill "$pid" 2>/dev/null; exit 130' INT TERM
    printf '%s ' "$words"
    while kill -0 "$pid" 2>/dev/null; do
        if [ -t 1 ]; then printf '\r%s %s s ' "$words" "$((SECONDS - began))"; else printf .; fi
        sleep 1
    done
    wait "$pid" || status=$?
    trap - INT TERM
    if [ -t 1 ]; then printf '\r%s: %s s\n' "$words" "$((SECONDS - began))"; else printf ' %s s\n' "$((SECONDS - began))"; fi
    # A library's own chatter is of no use here; what a person should know begins with "Note: ".
    if [ "$status" = 0 ]; then grep '^Note: ' "$log" || true; else cat "$log" >&2; fi
    rm -f "$log"
    return "$status"
}

find_python() {
    for candidate in "${PYTHON:-}" python3.13 python3.12 python3.11 python3; do
        [ -n "$candidate" ] || continue
        command -v "$candidate" >/dev/null 2>&1 || continue
        if "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            command -v "$candidate"
            return 0
        fi
    done
    return 1
}

apt_install() { # packages...
    if [ "$(id -u)" != 0 ] || ! command -v apt-get >/dev/null 2>&1; then
        return 1
    fi
    export DEBIAN_FRONTEND=noninteractive
    apt-get install -y -qq --no-install-recommends "$@" >/dev/null 2>&1 && return 0
    apt-get update -qq >/dev/null 2>&1 || true
    apt-get install -y -qq --no-install-recommends "$@" >/dev/null
}

make_env() { # lock file, more options for pip
    local lock="$1" python stamp
    shift
    python="$(find_python)" || die "Hingeback needs Python 3.11 or newer. Install it, then run this again."
    if [ ! -x .venv/bin/python ] || ! .venv/bin/python -c 'import pip' >/dev/null 2>&1; then
        if ! step "Making .venv" "$python" -m venv .venv 2>/dev/null; then
            rm -rf .venv
            apt_install python3-venv || die "Python's venv module is missing. Run: sudo apt-get install python3-venv"
            step "Making .venv again" "$python" -m venv .venv
        fi
    fi
    stamp=".venv/.installed-$(basename "$lock")"
    if ! cmp -s "$lock" "$stamp"; then
        # The list names every dependency of a dependency, so nothing need be looked for; and
        # Python compiles by itself what is ever imported.
        step "Installing the locked dependencies" .venv/bin/python -m pip install --quiet \
            --disable-pip-version-check --no-input --no-deps --no-compile --require-hashes \
            "$@" -r "$lock" || die "The dependencies could not be installed; see above."
        cp "$lock" "$stamp"
    fi
}

has_pango() {
    .venv/bin/python -c 'import weasyprint' >/dev/null 2>&1
}

need_pango() {
    has_pango && return 0
    step "Installing the text libraries that WeasyPrint needs" apt_install libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0 fonts-dejavu-core || true
    has_pango && return 0
    if [ "$(uname)" = Darwin ]; then
        die "WeasyPrint needs Pango. Run: brew install pango"
    fi
    die "WeasyPrint needs Pango. Run: sudo apt-get install libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0 fonts-dejavu-core"
}

need_caddy() {
    command -v caddy >/dev/null 2>&1 && return 0
    step "Installing the HTTPS proxy" apt_install caddy || true
    # Debian starts one of its own for the whole machine, which nobody asked for.
    [ "$(id -u)" != 0 ] || systemctl disable --now caddy >/dev/null 2>&1 || true
    command -v caddy >/dev/null 2>&1 && return 0
    die "--network needs Caddy. Run: sudo apt-get install caddy; sudo systemctl disable --now caddy"
}

first_address() {
    local found
    found="$(hostname -I 2>/dev/null | tr ' ' '\n' | grep -m 1 '^[0-9.]*$')" || true
    [ -n "$found" ] || die "This machine has no address in a network. Name it: --network=NAME"
    printf '%s\n' "$found"
}
