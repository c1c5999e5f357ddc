#!/usr/bin/env bash
# Start Hingeback on this machine: web pages and worker, nothing else to install.
#   --port N   listen on another port (8000; with --empty 8001)
#   --fresh    forget the demo under var/ and begin anew
#   --logins   print the demo logins again and stop
#   --empty    your own workshop instead of the demo: empty, with data of its own under own/
#   --network    also for tablets and phones of this network, over HTTPS; --network=NAME names the
#                machine as they call it (else by its address)
#   --restore F  your own workshop as the archive F holds it, on a machine that has none
set -euo pipefail
cd "$(dirname "$0")/.."
. deploy/ready.sh

port=
fresh=no
logins=no
own=no
archive=
network=
while [ $# -gt 0 ]; do
    case "$1" in
        --port) [ $# -ge 2 ] || die "--port needs a number"; port="$2"; shift 2 ;;
        --port=*) port="${1#*=}"; shift ;;
        --fresh) fresh=yes; shift ;;
        --logins) logins=yes; shift ;;
        --empty) own=yes; shift ;;
        --network) network="$(first_address)"; shift ;;
        --network=*) network="${1#*=}"; shift ;;
        --restore) [ $# -ge 2 ] || die "--restore needs the archive"; own=yes; archive="$2"; shift 2 ;;
        -h|--help) sed -n '2,9s/^# \{0,1\}//p' "$0"; exit 0 ;;
        *) die "Unknown option $1. Known: --port N, --fresh, --logins, --empty, --network, --restore FILE." ;;
    esac
done
if [ "$own" = yes ]; then
    [ "$fresh$logins" = nono ] || die "--empty and --restore go with --port and --network only: your own data is never forgotten here."
    port="${port:-8001}"
    data="${HINGEBACK_DATA_DIR:-$PWD/own}"
else
    port="${port:-8000}"
    data="${HINGEBACK_DATA_DIR:-$PWD/var}"
fi
case "$port" in ''|*[!0-9]*) die "--port needs a number" ;; esac
[ "$port" -ge 1 ] && [ "$port" -le 65535 ] || die "--port needs a number from 1 to 65535"

# A folder is for the demo or for a workshop's own data, never for both.
if [ "$own" = yes ] && [ -e "$data/demo_logins.txt" ]; then
    die "$data holds the demo. Choose another HINGEBACK_DATA_DIR for your own workshop."
fi
if [ "$own" = no ] && [ -e "$data/own_workshop" ]; then
    die "$data holds your own workshop: start it with --empty, or choose another HINGEBACK_DATA_DIR."
fi
if [ "$logins" = yes ]; then
    [ -f "$data/demo_logins.txt" ] || die "There are no demo logins yet: run deploy/up.sh first."
    cat "$data/demo_logins.txt"
    exit 0
fi
if [ "$fresh" = yes ] && [ -d "$data" ]; then
    [ -e "$data/demo_logins.txt" ] || [ ! -e "$data/hingeback.sqlite3" ] ||
        die "$data does not hold the demo, so nothing was deleted."
    say "Forgetting the data in $data"
    rm -rf "${data:?}"/hingeback.sqlite3* "${data:?}"/media "${data:?}"/reports "${data:?}"/spool \
        "${data:?}"/demo_logins.txt "${data:?}"/beat* "${data:?}"/backups
fi

# Said now, and not after a minute of work.
if (exec 3<>"/dev/tcp/127.0.0.1/$port") 2>/dev/null; then
    die "Port $port is taken. Choose another: deploy/up.sh --port $((port + 1))"
fi
if [ -n "$network" ]; then
    case "$network" in *[!A-Za-z0-9.-]*) die "--network takes a name or an address, such as workshop.lan or 192.168.1.20" ;; esac
    need_caddy
fi
make_env deploy/requirements.txt --only-binary :all:
need_pango
umask 077
export HINGEBACK_DATA_DIR="$data"
listening=()
if [ -n "$network" ]; then
    https_port=$((port + 443))
    listening=(--network "$network" --https-port "$https_port")
    HINGEBACK_BASE_URL="https://$network:$https_port"
    export HINGEBACK_TRUSTED_PROXIES=1
fi
export HINGEBACK_BASE_URL="${HINGEBACK_BASE_URL:-http://127.0.0.1:$port}"
if [ "$own" = yes ]; then
    mkdir -p "$data"
    echo "The data of your own workshop. Keep it; back it up." > "$data/own_workshop"
fi
if [ -n "$archive" ]; then
    step "Restoring $archive, and checking it" .venv/bin/python manage.py restore "$archive"
fi
welcome="$data/.welcome"
rm -f "$welcome"
if [ "$own" = yes ]; then
    step "Bringing your workshop up to this version" .venv/bin/python manage.py prepare own --welcome "$welcome"
else
    step "Bringing the invented demo up to today" .venv/bin/python manage.py prepare demo
fi
again="--port $port${network:+ --network=$network}"
if [ "$own" = yes ]; then again="--empty $again"; fi
exec .venv/bin/python -m deploy.shop --again="$again" --port "$port" --welcome "$welcome" ${listening[@]+"${listening[@]}"}
