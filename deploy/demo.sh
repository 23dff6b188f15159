#!/usr/bin/env bash
# Everything on one machine: a virtual coast, the edge, a broker, the gateway. Needs Python and pip.
#   bash deploy/demo.sh [--seconds N] [--seed N] [--data DIR]
set -u
top=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd) || exit 69
. "$top/deploy/environment.sh"

make_environment "$top" demo gateway
trap : INT TERM # the demo ends its own processes; this shell stays to say how it ended
"$ENVIRONMENT/bin/seafret" demo "$@"
status=$?
case $status in
  0) say "the demo has ended well. Another seed tells another story: bash deploy/demo.sh --seed 7" ;;
  130 | 143) say "the demo was stopped" ;;
  *) say "the demo ended with exit code $status" >&2 ;;
esac
exit "$status"
