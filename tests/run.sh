#!/usr/bin/env bash
# Every check on a fresh machine: environment, what the tests need from apt, then the check command.
#   bash tests/run.sh [--long] [-- arguments for pytest]
set -u
top=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd) || exit 69
. "$top/deploy/environment.sh"
. "$top/tests/system_packages.sh"

mkdir -p "$top/.seafret" || fail "cannot write in $top; run this from a checkout of your own"
ensure_system_packages "$top/.seafret/apt.log"
make_environment "$top" tests test
cd "$top" || exit 69
PYTHONUNBUFFERED=1 "$ENVIRONMENT/bin/python" tests/check.py "$@"
