#!/usr/bin/env bash
# Every check and every test. Needs Python 3.11+ and git; makes its own environment.
#   --services   PostgreSQL, Redis and Chromium are mandatory, not only used when they are there
#   --quick      leave out the checks of style and types
#   --fast       only the sums and the rules, on SQLite: a minute, for while you work
#   --long       also what takes many minutes, up to an hour: left out otherwise
#   --mutants    plants faults in the core instead, one at a time, and names those that live
#   --faults S   kill a served workshop's processes for S seconds instead of sixty
#   -- ARGS      handed to pytest
set -euo pipefail
cd "$(dirname "$0")/.."
. deploy/ready.sh

# The sums and the rules, nearest to what is being changed.
rules="not edge and not browser and not service and not once and not slow"
# Not even read for --fast: reading them costs as much as a hundred rules.
edges=(access api benchmarks browser callers deploy docs service)
services=no
quick=no
fast=no
long=no
mutants=no
while [ $# -gt 0 ]; do
    case "$1" in
        --services) services=yes; shift ;;
        --quick) quick=yes; shift ;;
        --fast) fast=yes; shift ;;
        --long) long=yes; shift ;;
        --mutants) mutants=yes; shift ;;
        --faults) export HINGEBACK_TEST_FAULTS_S="${2:?--faults takes seconds}"; shift 2 ;;
        --) shift; break ;;
        -h|--help) sed -n '2,9s/^# \{0,1\}//p' "$0"; exit 0 ;;
        *) die "Unknown option $1. Known: --services, --quick, --fast, --long, --mutants, --faults S, -- ARGS for pytest." ;;
    esac
done

# Else every process of a run compiles the house anew: each worker, and each command that a test runs.
unset PYTHONDONTWRITEBYTECODE
# One test-only package comes as source alone; the shop itself takes built packages only.
make_env deploy/requirements-dev.txt --prefer-binary
# No paper is drawn by the rules.
[ "$fast" = yes ] || need_pango
export HINGEBACK_DATA_DIR="${TMPDIR:-/tmp}/hingeback-test-$$"
mkdir -p "$HINGEBACK_DATA_DIR"
trap 'rm -rf "$HINGEBACK_DATA_DIR"' EXIT
bin=.venv/bin
left_out=("audit of dependencies: it needs the internet, see deploy/SECURITY.md")

if [ "$mutants" = yes ]; then
    nice $bin/python -m tests.mutants "$@"
    exit 0
fi
if [ "$fast" = yes ]; then
    [ "$services" = no ] || die "--fast asks no service: leave out one of --fast and --services."
    HYPOTHESIS_PROFILE="${HYPOTHESIS_PROFILE:-few}" \
        $bin/pytest -q -n 2 --dist worksteal -p no:schemathesis -m "$rules" \
        "${edges[@]/#/--ignore=tests/}" "$@"
    say "LEFT OUT style, types, pages, addresses, papers, browser, PostgreSQL, Redis: see bash deploy/test.sh"
    say "All that ran passed."
    exit 0
fi

export HINGEBACK_TEST_DATABASE_URL="${HINGEBACK_TEST_DATABASE_URL:-postgresql://postgres@127.0.0.1:5432/test}"
export HINGEBACK_TEST_REDIS_URL="${HINGEBACK_TEST_REDIS_URL:-redis://127.0.0.1:6379/15}"
have_services=no
if $bin/python -m deploy.reachable; then have_services=yes; fi
if [ "$services" = yes ] && [ "$have_services" = no ]; then
    die "PostgreSQL and Redis must answer for --services (see HINGEBACK_TEST_DATABASE_URL, HINGEBACK_TEST_REDIS_URL)."
fi

# Whoever names one has chosen: chromium-headless-shell spends a third less than the whole browser.
chromium="${HINGEBACK_TEST_CHROMIUM:-}"
for candidate in chromium chromium-browser google-chrome; do
    [ -z "$chromium" ] && command -v "$candidate" >/dev/null 2>&1 && chromium="$(command -v "$candidate")"
done
if [ -z "$chromium" ] && apt_install chromium; then chromium="$(command -v chromium || true)"; fi
if [ -z "$chromium" ] && [ "$services" = yes ]; then die "Chromium must be installed for --services."; fi
export HINGEBACK_TEST_CHROMIUM="$chromium"
export HINGEBACK_TEST_SEEN="${HINGEBACK_TEST_PICTURES:-$PWD/var/test-seen}"
[ -n "${HINGEBACK_TEST_PICTURES:-}" ] || rm -rf "$HINGEBACK_TEST_SEEN"

if [ "$quick" = no ]; then
    say "== style, types, layers, migrations"
    $bin/ruff check .
    $bin/ruff format --check .
    $bin/lint-imports --no-cache
    $bin/mypy inventory returns deploy
    $bin/python manage.py makemigrations --check --dry-run
fi

# The tests that tell stories through the API: each call of theirs is a seed for drawn requests.
stories=(tests/api/test_flows.py tests/api/test_repairs.py tests/api/test_salvage.py tests/api/test_known_masses.py
    tests/api/test_every_door.py tests/returns/counter/test_counter_api.py
    tests/returns/partners/test_partners_api.py tests/returns/handover/test_handover_api.py
    tests/returns/auditing/test_audit_pages.py tests/returns/joining/test_later_parts.py
    tests/returns/leaving/test_tray_and_counter.py tests/returns/asking/test_asking.py)
fuzz() {
    $bin/python -m pytest -q -n0 -p no:randomly -p tests.api.fuzzed "${stories[@]}" \
        -k "api or program or machine or partner or flows or repairs or salvage or known or door"
}

[ "$long" = no ] || set -- --long "$@"
marks="not service"
# What is run once meets the stricter database; both would find the same for twice the time.
[ "$have_services" = no ] || marks="$marks and not once"
[ -n "$chromium" ] || { marks="$marks and not browser"; left_out+=("browser tests: no Chromium"); }
say "== tests on SQLite"
$bin/pytest -q -rR -n 2 --dist worksteal -m "$marks" "$@"
say "== stories through the API, and drawn requests from each of their calls"
fuzz
if [ "$have_services" = yes ]; then
    # What only reads or draws said the same on SQLite; hostile input asks every page here.
    say "== tests on PostgreSQL and Redis"
    HINGEBACK_DATABASE_URL="$HINGEBACK_TEST_DATABASE_URL" $bin/pytest -q -rR -n 2 --dist worksteal \
        -m "not browser and not pure and not further and (not edge or service or once)" "$@"
    HINGEBACK_DATABASE_URL="$HINGEBACK_TEST_DATABASE_URL" fuzz
else
    left_out+=("service tests: no PostgreSQL or Redis")
fi
if [ -d "$HINGEBACK_TEST_SEEN" ]; then
    tail -qn 1 "$HINGEBACK_TEST_SEEN"/axe-*.txt | paste -sd '|' - | sed 's/^/axe: /'
    say "What the browser tests saw: $(ls "$HINGEBACK_TEST_SEEN" | wc -l) files in $HINGEBACK_TEST_SEEN"
fi
for line in ${left_out[@]+"${left_out[@]}"}; do say "LEFT OUT $line"; done
say "All that ran passed."
