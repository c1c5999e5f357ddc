#!/usr/bin/env bash
# Take a newer version of Hingeback: stop, newer code, backup, rehearse on the copy, migrate, check, start.
#   --no-pull   the newer code is here already
#   --demo      the invented demo under var/ instead of your own workshop under own/
set -euo pipefail
cd "$(dirname "$0")/.."
. deploy/ready.sh

# In a function: the shell reads a script as it runs it, and the newer code brings another one.
main() {
    local pull=yes data="${HINGEBACK_DATA_DIR:-$PWD/own}" old service=no again=() pid=
    while [ $# -gt 0 ]; do
        case "$1" in
            --no-pull) pull=no; shift ;;
            --demo) data="${HINGEBACK_DATA_DIR:-$PWD/var}"; shift ;;
            -h|--help) sed -n '2,4s/^# \{0,1\}//p' "$0"; exit 0 ;;
            *) die "Unknown option $1. Known: --no-pull, --demo." ;;
        esac
    done
    [ -n "${HINGEBACK_DATABASE_URL:-}" ] || [ -e "$data/hingeback.sqlite3" ] ||
        die "There is no workshop in $data. Name its folder in HINGEBACK_DATA_DIR."
    export HINGEBACK_DATA_DIR="$data"

    if [ "$pull" = yes ]; then
        old="$(git rev-parse HEAD)" || die "This is no clone. Put the newer code here, then: deploy/upgrade.sh --no-pull"
        step "Fetching the newer code" git pull --quiet --ff-only || die "Nothing was changed."
    fi
    if systemctl is-active --quiet hingeback 2>/dev/null; then
        service=yes
        step "Stopping the service" systemctl stop hingeback
    elif [ -f "$data/running" ]; then
        pid="$(head -n 1 "$data/running")"
        read -r -a again <<<"$(tail -n +2 "$data/running")"
        if grep -qs deploy.shop "/proc/$pid/cmdline"; then
            step "Stopping the workshop" stop "$pid" || die "Process $pid does not end. Nothing was changed."
        else
            again=()
        fi
    fi
    # The copy is proved by migrating it and deriving every figure again: what would go wrong with the
    # workshop goes wrong here first, where it costs nothing.
    if ! { make_env deploy/requirements.txt --only-binary :all: && need_pango &&
        step "Saving a copy, and upgrading the copy first" .venv/bin/python manage.py backup; }; then
        say "Your workshop was not touched. Go back to the code that it ran with:"
        if [ "$pull" = yes ]; then say "  git checkout $old"; fi
        die "then start it as before."
    fi
    step "Upgrading the workshop" .venv/bin/python manage.py migrate --verbosity 0 || back
    step "Deriving every figure again" .venv/bin/python manage.py checkledger || back
    if [ "$service" = yes ]; then
        step "Starting the service" systemctl start hingeback
    elif [ ${#again[@]} -gt 0 ]; then
        exec bash deploy/up.sh "${again[@]}"
    else
        say "Done. Start it as you did before."
    fi
}

stop() { # process: asks it to end, and waits for it
    local tries
    kill -TERM "$1"
    for tries in $(seq 40); do
        kill -0 "$1" 2>/dev/null || return 0
        sleep 0.5
    done
    return 1
}

back() {
    say "It did not go through, and the workshop is not started. The copy of before is in the folder of"
    say "copies (backups/ of the data folder). To go back: check out the former code, move $HINGEBACK_DATA_DIR"
    die "aside, and run deploy/up.sh --restore with that copy."
}

main "$@"
exit
