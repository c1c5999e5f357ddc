#!/usr/bin/env bash
# Start Hingeback on this machine: web pages, worker and the demo scenario, nothing else to install.
#   --port N   listen on another port (8000)
#   --fresh    forget the data under var/ and begin anew
#   --logins   print the demo logins again and stop
set -euo pipefail
cd "$(dirname "$0")/.."
. deploy/ready.sh

port=8000
fresh=no
logins=no
while [ $# -gt 0 ]; do
    case "$1" in
        --port) [ $# -ge 2 ] || die "--port needs a number"; port="$2"; shift 2 ;;
        --port=*) port="${1#*=}"; shift ;;
        --fresh) fresh=yes; shift ;;
        --logins) logins=yes; shift ;;
        -h|--help) sed -n '2,5s/^# \{0,1\}//p' "$0"; exit 0 ;;
        *) die "Unknown option $1. Known: --port N, --fresh, --logins." ;;
    esac
done
case "$port" in ''|*[!0-9]*) die "--port needs a number" ;; esac
[ "$port" -ge 1 ] && [ "$port" -le 65535 ] || die "--port needs a number from 1 to 65535"

data="${HINGEBACK_DATA_DIR:-$PWD/var}"
if [ "$logins" = yes ]; then
    [ -f "$data/demo_logins.txt" ] || die "There are no demo logins yet: run deploy/up.sh first."
    cat "$data/demo_logins.txt"
    exit 0
fi
if [ "$fresh" = yes ] && [ -d "$data" ]; then
    say "Forgetting the data in $data"
    rm -rf "${data:?}"/hingeback.sqlite3* "${data:?}"/media "${data:?}"/reports "${data:?}"/spool \
        "${data:?}"/demo_logins.txt "${data:?}"/beat*
fi

make_env deploy/requirements.txt --only-binary :all:
need_pango
export HINGEBACK_BASE_URL="${HINGEBACK_BASE_URL:-http://127.0.0.1:$port}"
.venv/bin/python manage.py migrate --verbosity 0
.venv/bin/python manage.py loaddemo --once
exec .venv/bin/python -m deploy.shop --port "$port"
