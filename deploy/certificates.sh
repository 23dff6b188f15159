#!/usr/bin/env bash
# A utility's own certificate authority for units, gateway and broker: small enough to read, made for
# the trial and as the model of the real one. Needs openssl, bash, and a folder that only its keeper
# can read. Keep that folder off the gateway: who has it can speak for every unit.
set -u
umask 077

KEY_CURVE=P-256
AUTHORITY_DAYS=3650
LEAF_DAYS=90         # short, so that a lost unit is shut out even where revocation failed
CRL_DAYS=365         # an overdue list shuts everybody out: it is watched like a certificate
BACKDATED_S=3600     # a pole's clock may be a little behind the authority's
WARN_DAYS=(1 7 30)   # the same three marks as the gateway's
UNIT_PATTERN='^[a-z0-9-]{1,32}\.[a-z0-9-]{1,32}$'
HOST_PATTERN='^[A-Za-z0-9._:-]{1,253}$'

usage() {
  cat <<'TEXT'
certificates.sh COMMAND [--dir DIR] [--days N] [--from T] [--until T]

  init NAME            a new authority, NAME as people know the utility
  unit SITE.MONITOR    a key and a certificate for a unit; its name binds its topics
  gateway              the same for the gateway, as a client of the broker
  broker HOST...       for the broker (or the console): every name and address it is reached by
  renew WHO            a new key and certificate for one of the above; the old stays valid
  revoke WHO           shuts out all its certificates; then bring crl.pem to the broker
  crl                  signs the list of revoked certificates anew, for another year
  list                 every certificate: who, until when, its state
  check                says what ends within 30, 7 and 1 days; exit code 10 if anything does

DIR (default: ./authority) keeps the authority. What goes out lies in DIR/issued/WHO:
ca.pem, cert.pem, key.pem; the list of the revoked in DIR/crl.pem. T is YYYYMMDDHHMMSSZ.
TEXT
}

fail() {
  printf 'certificates: %s\n' "$*" >&2
  exit 64
}

main() {
  command=${1:-}
  [ $# -gt 0 ] && shift
  dir=authority days='' from='' until_='' names=()
  while [ $# -gt 0 ]; do
    case $1 in
      --dir | --days | --from | --until)
        [ $# -gt 1 ] || fail "$1 needs a word after it"
        case $1 in --dir) dir=$2 ;; --days) days=$2 ;; --from) from=$2 ;; --until) until_=$2 ;; esac
        shift 2
        ;;
      -*) fail "$1 is no option; there are --dir, --days, --from and --until" ;;
      *) names+=("$1") && shift ;;
    esac
  done
  export AUTHORITY=$dir
  case $days in *[!0-9]*) fail "--days is '$days'; it must be a whole number" ;; esac
  command -v openssl >/dev/null || fail "openssl is not installed; as root: apt-get install openssl"
  [ "$command" = init ] || [ -z "$command" ] || [ -f "$dir/ca.pem" ] || [ "$command" = help ] ||
    fail "$dir holds no authority; make one with: certificates.sh init NAME --dir $dir"
  case $command in
    init) make_authority ;;
    unit) one_name && issue_unit "${names[0]}" ;;
    gateway) issue seafret-gateway client "" ;;
    broker) issue_broker ;;
    renew) one_name && renew "${names[0]}" ;;
    revoke) one_name && revoke "${names[0]}" ;;
    crl) sign_list ;;
    list) list ;;
    check) check ;;
    help | --help | -h | '') usage ;;
    *) fail "$command is no command; see: certificates.sh help" ;;
  esac
}

one_name() { [ ${#names[@]} = 1 ] || fail "$command needs one name, found ${#names[@]}"; }

# Runs openssl; its words are shown only where it failed.
quiet() {
  local said
  said=$("$@" 2>&1 </dev/null) && return 0
  printf '%s\n' "$said" >&2
  fail "openssl failed; its words are above"
}

make_authority() {
  one_name
  case ${names[0]} in *[/=+\"\'\\]*) fail "the name must do without / = + \\ and quotes" ;; esac
  [ ! -e "$dir/ca.pem" ] || fail "$dir already holds an authority; it is never overwritten"
  mkdir -p "$dir/issued" "$dir/certs" || fail "cannot make $dir"
  : >"$dir/index.txt"
  printf 'unique_subject = no\n' >"$dir/index.txt.attr"
  write_settings
  quiet openssl genpkey -algorithm EC -pkeyopt "ec_paramgen_curve:$KEY_CURVE" -out "$dir/ca.key"
  quiet openssl req -new -x509 -key "$dir/ca.key" -out "$dir/ca.pem" -config "$dir/openssl.cnf" \
    -extensions authority -subj "/CN=${names[0]} units" -days "${days:-$AUTHORITY_DAYS}"
  chmod 644 "$dir/ca.pem"
  sign_list
  echo "authority ${names[0]}: $dir/ca.pem goes to every unit, broker and gateway; $dir stays here"
}

write_settings() {
  cat >"$dir/openssl.cnf" <<'TEXT'
[ca]
default_ca = ours
[ours]
database = $ENV::AUTHORITY/index.txt
new_certs_dir = $ENV::AUTHORITY/certs
certificate = $ENV::AUTHORITY/ca.pem
private_key = $ENV::AUTHORITY/ca.key
rand_serial = yes
default_md = sha256
policy = name_only
copy_extensions = none
email_in_dn = no
[name_only]
commonName = supplied
[req]
distinguished_name = empty
prompt = no
[empty]
[authority]
basicConstraints = critical, CA:true, pathlen:0
keyUsage = critical, keyCertSign, cRLSign
subjectKeyIdentifier = hash
[client]
basicConstraints = critical, CA:false
keyUsage = critical, digitalSignature
extendedKeyUsage = clientAuth
authorityKeyIdentifier = keyid
[server]
basicConstraints = critical, CA:false
keyUsage = critical, digitalSignature
extendedKeyUsage = serverAuth
authorityKeyIdentifier = keyid
TEXT
}

issue_unit() {
  [[ $1 =~ $UNIT_PATTERN ]] ||
    fail "unit '$1'; it must be SITE.MONITOR, each 1 to 32 of a-z, 0-9 and '-'"
  issue "$1" client ""
}

issue_broker() {
  [ ${#names[@]} -gt 0 ] || fail "broker needs every name and address by which units reach it"
  local name list=""
  for name in "${names[@]}"; do
    [[ $name =~ $HOST_PATTERN ]] || fail "'$name' is neither a host name nor an address"
    case $name in
      *:* | [0-9]*.[0-9]*.[0-9]*.[0-9]*) list="$list,IP:$name" ;;
      *) list="$list,DNS:$name" ;;
    esac
  done
  issue broker server "${list#,}"
}

# The new pair stands in a folder of its own; then one rename of the link brings both into use.
issue() { # who kind alternative-names
  local who=$1 kind=$2 alternative=$3 fresh link
  local home="$dir/issued/$who"
  mkdir -p "$home" || fail "cannot make $home"
  fresh=$(mktemp -d "$home/pair.XXXXXX") || fail "cannot make a folder in $home"
  {
    sed -n "/^\[$kind\]/,/^\[/p" "$dir/openssl.cnf" | grep '='
    [ -z "$alternative" ] || echo "subjectAltName = $alternative"
  } >"$fresh/extensions"
  quiet openssl genpkey -algorithm EC -pkeyopt "ec_paramgen_curve:$KEY_CURVE" -out "$fresh/key.pem"
  quiet openssl req -new -key "$fresh/key.pem" -out "$fresh/asked.pem" \
    -config "$dir/openssl.cnf" -subj "/CN=$who"
  quiet openssl ca -batch -notext -config "$dir/openssl.cnf" \
    -in "$fresh/asked.pem" -out "$fresh/cert.pem" -extfile "$fresh/extensions" \
    -startdate "${from:-$(date -u -d "-$BACKDATED_S seconds" +%Y%m%d%H%M%SZ)}" \
    -enddate "${until_:-$(date -u -d "+${days:-$LEAF_DAYS} days" +%Y%m%d%H%M%SZ)}"
  rm -f "$fresh/asked.pem"
  mv "$fresh/extensions" "$home/extensions"
  printf '%s\n' "$kind" >"$home/kind"
  chmod 644 "$fresh/cert.pem"
  cp "$dir/ca.pem" "$fresh/ca.pem" && chmod 644 "$fresh/ca.pem"
  link="$home/.link.$$"
  ln -s "$(basename "$fresh")" "$link" && mv -T "$link" "$home/current"
  echo "$who: $home/current, until $(openssl x509 -in "$fresh/cert.pem" -noout -enddate | cut -d= -f2)"
}

renew() {
  local home="$dir/issued/$1" alternative
  [ -f "$home/kind" ] || fail "$1 never had a certificate here; see: certificates.sh list"
  alternative=$(sed -n 's/^subjectAltName = //p' "$home/extensions")
  issue "$1" "$(cat "$home/kind")" "$alternative"
}

# Serial numbers of all certificates of WHO that are not revoked, expired ones as well.
serials() { awk -F '\t' -v name="/CN=$1" '$1 != "R" && $6 == name { print $4 }' "$dir/index.txt"; }

revoke() {
  local serial found=0
  for serial in $(serials "$1"); do
    quiet openssl ca -config "$dir/openssl.cnf" -revoke "$dir/certs/$serial.pem"
    found=$((found + 1))
  done
  [ "$found" -gt 0 ] || fail "$1 has no certificate that is not revoked; see: certificates.sh list"
  sign_list
  echo "$1: $found revoked. Bring $dir/crl.pem to the broker and restart it: that ends a session, too"
}

sign_list() {
  quiet openssl ca -config "$dir/openssl.cnf" -gencrl \
    -crldays "${days:-$CRL_DAYS}" -out "$dir/crl.pem.new"
  chmod 644 "$dir/crl.pem.new" && mv "$dir/crl.pem.new" "$dir/crl.pem"
}

end_of() { # seconds since 1970 of a certificate's or a list's end
  case $1 in
    *crl.pem) date -u -d "$(openssl crl -in "$1" -noout -nextupdate | cut -d= -f2)" +%s ;;
    *) date -u -d "$(openssl x509 -in "$1" -noout -enddate | cut -d= -f2)" +%s ;;
  esac
}

list() {
  local state serial name end
  while IFS=' ' read -r state serial name; do
    end=$(end_of "$dir/certs/$serial.pem")
    case $state in
      R) state=revoked ;;
      *) [ "$end" -gt "$(date +%s)" ] && state=valid || state=expired ;;
    esac
    printf '%-34s %s  %-7s  %s\n' "$name" "$(date -u -d "@$end" +%Y-%m-%dT%H:%MZ)" "$state" "$serial"
  done < <(awk -F '\t' '{ sub("/CN=", "", $6); print $1, $4, $6 }' "$dir/index.txt")
}

check() {
  local file left mark found=0
  for file in "$dir/ca.pem" "$dir/crl.pem" "$dir"/issued/*/current/cert.pem; do
    [ -f "$file" ] || continue
    case $file in
      */issued/*) # what is revoked as a whole is missed by nobody
        [ -n "$(serials "$(basename "$(dirname "$(dirname "$file")")")")" ] || continue ;;
    esac
    left=$(($(end_of "$file") - $(date +%s)))
    for mark in "${WARN_DAYS[@]}"; do
      [ "$left" -le $((mark * 86400)) ] || continue
      [ "$left" -gt 0 ] && echo "$file ends in $((left / 86400)) days (mark: $mark): renew it" ||
        echo "$file has ended: renew it now"
      found=10
      break
    done
  done
  [ "$found" = 0 ] && echo "nothing ends within 30 days"
  exit "$found"
}

main "$@"
