#!/usr/bin/env bash
# Serve a workshop from this machine without containers, with the distribution's own packages:
# PostgreSQL, Redis, web, workers and beat behind nginx, kept running by supervisord. Stays in front;
# Ctrl-C or SIGTERM ends all of them. Run as root: each process then takes a user of its own.
#   --settings F  the settings (deploy/served.env; made from the example when it is missing)
#   --port N      where nginx listens for HTTPS (443)
#   --prepare     make everything ready, migrate, and stop there
set -euo pipefail
cd "$(dirname "$0")/.."
. deploy/ready.sh

case "${1:-}" in -h|--help) sed -n '2,7s/^# \{0,1\}//p' "$0"; exit 0 ;; esac
missing=()
command -v nginx >/dev/null 2>&1 || missing+=(nginx-light)
command -v redis-server >/dev/null 2>&1 || missing+=(redis-server)
command -v supervisord >/dev/null 2>&1 || missing+=(supervisor)
ls /usr/lib/postgresql/*/bin/initdb >/dev/null 2>&1 || missing+=(postgresql)
if [ "${#missing[@]}" -gt 0 ]; then
    say "Installing ${missing[*]}"
    apt_install "${missing[@]}" || die "Needed first: sudo apt-get install ${missing[*]}"
fi
# Pages and workers run as a user of their own, who may not look into root's home: the
# distribution's Python can be run by everybody, another one perhaps by its owner alone.
if [ "$(id -u)" = 0 ] && /usr/bin/python3 -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
    export PYTHON=/usr/bin/python3
fi
make_env deploy/requirements.txt --only-binary :all:
need_pango
exec .venv/bin/python -m deploy.served.prepare "$@"
