#!/usr/bin/env bash
# Installs an edge unit or a gateway on Debian 12 or later, brings it to another version and back.
# As root, from a checkout or an unpacked release of the version that is to be installed.
set -u
top=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd) || exit 69
. "$top/deploy/environment.sh"

HOME_DIR=/opt/seafret            # versions side by side; `current` and `previous` are links
SETTINGS_DIR=/etc/seafret        # never overwritten
UNITS_DIR=/etc/systemd/system
BACKUPS_DIR=/var/lib/seafret-backup
VERSIONS_KEPT=3
COMES_UP_S=300                   # as long as its service may take; then it is rolled back

usage() {
  cat <<'TEXT'
install.sh edge|gateway      install this version, or bring an installation to it
install.sh roll-back         go back to the version before; again: forward to this one
install.sh versions          which versions are here, and which one is in use
install.sh certificates DIR [edge|gateway|broker]
                             a folder of certificates.sh (ca.pem, cert.pem, key.pem), with its link
TEXT
}

main() {
  local command=${1:-help}
  case $command in help | --help | -h) usage && exit 0 ;; esac
  is_root || fail "must be run as root"
  case $command in
    edge | gateway) install_version "$command" ;;
    roll-back) roll_back ;;
    versions) versions ;;
    certificates) certificates "${2:-}" "${3:-$(role)}" ;;
    *) usage >&2 && exit 64 ;;
  esac
}

is_booted() { [ -d /run/systemd/system ]; }

role() { cat "$HOME_DIR/current/role" 2>/dev/null; }

services() { # role
  case $1 in edge) echo seafret-edge.service ;; gateway) echo seafret-broker.service seafret-gateway.service ;; esac
}

install_version() { # role
  local role=$1 before here
  before=$(role)
  [ -z "$before" ] || [ "$before" = "$role" ] || fail "this machine is a $before; one machine has one role"
  command -v apt-get >/dev/null 2>&1 || fail "needs Debian 12 or later, with apt-get"
  mkdir -p "$HOME_DIR/versions" || fail "cannot write in $HOME_DIR"
  install_packages "$role"
  here=$(build_version "$role") || exit $?
  make_users
  place_settings "$role" "$here"
  if [ -n "$before" ] && [ "$role" = gateway ]; then back_up_first "$here"; fi
  switch_to "$here"
  comes_up "$role" || {
    [ -n "$before" ] || fail "$here is installed but does not come up; see: journalctl -u 'seafret-*' -b"
    say "$here does not come up; going back to the version before" >&2
    roll_back
    exit 69
  }
  prune_versions
}

install_packages() { # role
  local log=$HOME_DIR/install.log wanted="python3 python3-venv openssl ca-certificates"
  if [ "$1" = gateway ]; then
    wanted="$wanted mosquitto"
    # Debian would start a broker of its own that lets in everybody on this machine.
    [ -e "$UNITS_DIR/mosquitto.service" ] || ln -s /dev/null "$UNITS_DIR/mosquitto.service"
  fi
  say "installing with apt-get: $wanted"
  # shellcheck disable=SC2086
  apt_install "$log" $wanted || { tail -n 5 "$log" >&2 && fail "apt-get failed; details: $log"; }
}

# Builds into a folder of its own that counts only once it holds `complete`; prints its path.
build_version() { # role
  local role=$1 python version here log=$HOME_DIR/install.log extras="" proof=edge.daemon.running
  python=$(find_python) || exit "$FAULT_STATUS"
  version=$(sed -n 's/^__version__ = "\(.*\)"/\1/p' "$top/edge/version.py")
  here="$HOME_DIR/versions/$version-$(date -u +%Y%m%dT%H%M%SZ)"
  [ "$role" = edge ] || extras="[gateway]" proof=gateway.service
  say "building $here; this takes a few minutes on a pole computer" >&2
  umask 022
  unset PYTHONHOME PYTHONPATH PIP_USER PIP_TARGET PIP_PREFIX
  export PYTHONNOUSERSITE=1 PIP_NO_INPUT=1 PIP_DISABLE_PIP_VERSION_CHECK=1 PIP_ROOT_USER_ACTION=ignore
  export PIP_CONSTRAINT="$top/deploy/constraints.txt" PIP_BUILD_CONSTRAINT="$top/deploy/constraints.txt"
  {
    "$python" -m venv "$here" && "$here/bin/python" -m pip install "$top$extras" &&
      "$here/bin/python" -m compileall -q "$here/lib" && "$here/bin/python" -c "import $proof" &&
      "$here/bin/python" "$top/deploy/sbom.py" --out "$here/sbom.json"
  } >>"$log" 2>&1 || { rm -rf "$here" && tail -n 5 "$log" >&2 && fail "cannot build $here; details: $log"; }
  cp -r "$top/deploy/systemd" "$top/deploy/broker" "$top"/deploy/*.example.toml "$here/"
  cp "$top/deploy/install.sh" "$top/deploy/environment.sh" "$here/"
  printf '%s\n' "$role" >"$here/role"
  : >"$here/complete"
  printf '%s\n' "$here"
}

make_users() {
  local name
  for name in seafret-edge seafret-gateway seafret-broker; do
    getent passwd "$name" >/dev/null ||
      useradd --system --user-group --no-create-home --home-dir /nonexistent \
        --shell /usr/sbin/nologin "$name" || fail "cannot make the user $name"
  done
}

# Settings that are there stay; the example of this version lies beside them.
place_settings() { # role version
  local role=$1 here=$2
  mkdir -p "$SETTINGS_DIR/certificates"
  # The service makes its folder itself; commissioning wants it before the service ever ran.
  [ "$role" = gateway ] || install -d -o seafret-edge -g dialout -m 750 /var/lib/seafret
  cp "$here/$role.example.toml" "$SETTINGS_DIR/$role.example.toml"
  [ "$role" = gateway ] || return 0
  mkdir -p "$SETTINGS_DIR/broker" /etc/systemd
  cp "$here/broker/acl" "$here/broker/mosquitto.conf" "$SETTINGS_DIR/broker/"
  cp "$here/systemd/journald@seafret-broker.conf" /etc/systemd/
  chown root:seafret-broker "$SETTINGS_DIR/broker/acl"
  chmod 640 "$SETTINGS_DIR/broker/acl"
}

# A roll-back brings the older program; what a newer one made of the histories it may not read.
back_up_first() { # version; the new one, for the old one may be what is to be mended
  ls /var/lib/seafret-gateway/*.sqlite3 >/dev/null 2>&1 || return 0
  say "backing up the histories first, into $BACKUPS_DIR"
  as_user seafret-gateway "$1/bin/seafret" backup \
    --data /var/lib/seafret-gateway --out "$BACKUPS_DIR" || fail "no back-up, no upgrade"
}

as_user() { # user command...
  local user=$1
  shift
  install -d -o "$user" -g "$user" -m 700 "$BACKUPS_DIR"
  setpriv --reuid="$user" --regid="$user" --init-groups "$@"
}

# One rename of the link brings the version into use; then its own service files.
switch_to() { # version
  local here=$1 role unit
  role=$(cat "$here/role")
  if [ -e "$HOME_DIR/current" ] && [ "$(readlink -f "$HOME_DIR/current")" != "$(readlink -f "$here")" ]; then
    link "$(readlink -f "$HOME_DIR/current")" "$HOME_DIR/previous"
  fi
  link "$here" "$HOME_DIR/current"
  ln -sfn "$HOME_DIR/current/bin/seafret-edge" /usr/local/bin/seafret-edge
  [ "$role" = edge ] || ln -sfn "$HOME_DIR/current/bin/seafret" /usr/local/bin/seafret
  for unit in $(services "$role") $([ "$role" = edge ] || echo seafret-backup.service seafret-backup.timer); do
    cp "$here/systemd/$unit" "$UNITS_DIR/$unit" || fail "cannot write $UNITS_DIR/$unit"
  done
  is_booted && systemctl daemon-reload
  # shellcheck disable=SC2046
  systemctl enable --quiet $(services "$role") $([ "$role" = edge ] || echo seafret-backup.timer) || fail "systemctl enable failed"
  say "in use: $here"
}

link() { # target name
  ln -sfn "$1" "$2.new" && mv -T "$2.new" "$2" || fail "cannot set $2"
}

missing_files() { # role
  local file
  for file in "$SETTINGS_DIR/$1.toml" "$SETTINGS_DIR/certificates/current/cert.pem" \
    $([ "$1" = edge ] || echo "$SETTINGS_DIR/broker/current/cert.pem" "$SETTINGS_DIR/broker/crl.pem"); do
    [ -e "$file" ] || echo "$file"
  done
}

# Starts the services anew and waits until they say that they are ready.
comes_up() { # role
  local service missing
  missing=$(missing_files "$1")
  if [ -n "$missing" ]; then
    say "not started yet; still missing: ${missing//$'\n'/ }"
    return 0
  fi
  is_booted || { say "systemd does not run here; the services start at the next boot" && return 0; }
  for service in $(services "$1"); do
    timeout "$COMES_UP_S" systemctl restart "$service" && systemctl is-active --quiet "$service" || return 1
    say "$service is up"
  done
  [ "$1" = edge ] || systemctl start seafret-backup.timer
}

roll_back() {
  local back
  back=$(readlink -f "$HOME_DIR/previous" 2>/dev/null)
  [ -n "$back" ] && [ -f "$back/complete" ] || fail "there is no version to go back to; see: install.sh versions"
  place_settings "$(cat "$back/role")" "$back"
  switch_to "$back"
  comes_up "$(cat "$back/role")" || fail "$back does not come up; see: journalctl -u 'seafret-*' -b"
  say "histories and outbox stay as they are; back-ups from before upgrades are in $BACKUPS_DIR"
}

versions() {
  local here mark
  for here in "$HOME_DIR"/versions/*; do
    [ -d "$here" ] || continue
    mark=""
    [ -f "$here/complete" ] || mark=" (broken off)"
    [ "$(readlink -f "$HOME_DIR/current")" = "$here" ] && mark=" (in use)"
    [ "$(readlink -f "$HOME_DIR/previous")" = "$here" ] && mark=" (the one before)"
    echo "$(basename "$here")$mark"
  done
}

# Keeps the newest few and whatever a link points to.
prune_versions() {
  local here number=0
  for here in $(find "$HOME_DIR/versions" -mindepth 1 -maxdepth 1 -type d | sort -rV); do
    case $here in "$(readlink -f "$HOME_DIR/current")" | "$(readlink -f "$HOME_DIR/previous")") continue ;; esac
    number=$((number + 1))
    [ -f "$here/complete" ] && [ "$number" -lt "$VERSIONS_KEPT" ] || rm -rf "$here"
  done
}

# A new pair stands beside the old one; one rename of the link brings it into use.
certificates() { # folder whose
  local folder=$1 whose=$2 owner home pair
  [ -f "$folder/cert.pem" ] && [ -f "$folder/key.pem" ] && [ -f "$folder/ca.pem" ] ||
    fail "'$folder' must hold ca.pem, cert.pem and key.pem, as certificates.sh makes them"
  case $whose in
    edge) owner=seafret-edge home=$SETTINGS_DIR/certificates ;;
    gateway) owner=seafret-gateway home=$SETTINGS_DIR/certificates ;;
    broker) owner=seafret-broker home=$SETTINGS_DIR/broker ;;
    *) fail "whose certificates? edge, gateway or broker" ;;
  esac
  same_key "$folder" || fail "cert.pem and key.pem in '$folder' do not belong together"
  pair="$home/pair-$(date -u +%Y%m%dT%H%M%SZ)"
  install -d -m 755 "$pair" &&
    install -o root -g root -m 644 "$folder/ca.pem" "$folder/cert.pem" "$pair/" &&
    install -o "$owner" -g root -m 400 "$folder/key.pem" "$pair/" || fail "cannot write $pair"
  link "$pair" "$home/current"
  say "$home/current: $(openssl x509 -in "$pair/cert.pem" -noout -subject -enddate | tr '\n' ' ')"
  # A unit takes the new pair with its next connection; broker and gateway read theirs at the start.
  [ "$whose" = edge ] || comes_up "$(role)" || fail "the services do not come up with it; see journalctl"
}

same_key() { # folder
  [ "$(openssl x509 -in "$1/cert.pem" -noout -pubkey 2>/dev/null)" = "$(openssl pkey -in "$1/key.pem" -pubout 2>/dev/null)" ]
}

# Sourced by a test it only defines.
if [ "${BASH_SOURCE[0]}" = "$0" ]; then main "$@"; fi
