# What the tests need beside Python: a command that must answer, and the Debian packages it comes in.
# Sourced by run.sh. A row is  label | probe | packages  and later needs join as further rows.

SYSTEM_NEEDS="
mosquitto|command -v mosquitto|mosquitto
a checker of service units|command -v systemd-analyze|systemd
certificates|command -v openssl|openssl
a C compiler with its headers|compiles_c|gcc libc6-dev
the certificate tool openssl|command -v openssl|openssl
a browser without a screen|command -v chromium|chromium
a PostgreSQL server|has_postgresql|postgresql
"

# Debian keeps the server's own programs out of the path.
has_postgresql() {
  command -v initdb || ls /usr/lib/postgresql/*/bin/initdb
}

compiles_c() {
  printf '#include <stdint.h>\n#include <stdlib.h>\nint main(void) { return 0; }\n' |
    gcc -std=c99 -x c -fsyntax-only -
}

# Prints the packages of every need whose probe fails, on one line; nothing where all hold.
lacking_packages() {
  local label probe packages lacking=""
  while IFS='|' read -r label probe packages; do
    [ -n "$label" ] || continue
    $probe >/dev/null 2>&1 </dev/null || lacking="$lacking $packages"
  done <<<"$SYSTEM_NEEDS"
  printf '%s' "${lacking# }"
}

# Installs what lacks as root; otherwise says what to install, and fails: no test is left out.
ensure_system_packages() { # log
  local log=$1 lacking
  lacking=$(lacking_packages)
  [ -n "$lacking" ] || return 0
  is_root || fail "the tests need what is not installed here. As root: apt-get install $lacking"
  command -v apt-get >/dev/null 2>&1 ||
    fail "the tests need what is not installed here; Debian's packages are called: $lacking"
  say "installing with apt-get what the tests need: $lacking"
  # Debian's mosquitto may start a broker of its own on port 1883. The tests take free ports.
  # shellcheck disable=SC2086
  apt_install "$log" $lacking || tail -n 5 "$log" >&2
  lacking=$(lacking_packages)
  [ -z "$lacking" ] || fail "apt-get did not bring what the tests need: $lacking (details: $log)"
}
