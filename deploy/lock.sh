#!/usr/bin/env bash
# Renew the hash-locked dependency lists from pyproject.toml. Needs `uv` (pip install uv).
set -euo pipefail
cd "$(dirname "$0")/.."
lock() { uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-header \
    --no-emit-index-url --no-emit-find-links --no-annotate pyproject.toml "$@"; }
lock --output-file deploy/requirements.txt
lock --extra dev --constraint deploy/requirements.txt --output-file deploy/requirements-dev.txt
