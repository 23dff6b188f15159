# Functions for the two commands of README: a Python of the right age, an environment of our own.
# Sourced, never run. Everything they make lies in .seafret/ at the top of the checkout.

PYTHON_OLDEST="3.11"
PYTHONS="python3 python3.14 python3.13 python3.12 python3.11 python"
FAULT_STATUS=69 # something needed cannot be reached

# Debian keeps daemons and administrators' tools here, and many a shell does not look there.
PATH="$PATH:/usr/local/sbin:/usr/sbin:/sbin"
export PATH

say() { printf 'seafret: %s\n' "$*"; }
fail() {
  printf 'seafret: %s\n' "$*" >&2
  exit "$FAULT_STATUS"
}

is_root() { [ "$(id -u)" = 0 ]; }

# Prints the path of the first Python that is new enough; says what was found where there is none.
find_python() {
  local name answer found=""
  for name in ${SEAFRET_PYTHON:-$PYTHONS}; do
    command -v "$name" >/dev/null 2>&1 || continue
    answer=$("$name" -c 'import sys
print("%d.%d" % sys.version_info[:2])
print(getattr(sys, "_base_executable", sys.executable))' 2>/dev/null) || continue
    if newer_or_equal "${answer%%$'\n'*}" "$PYTHON_OLDEST"; then
      printf '%s\n' "${answer#*$'\n'}"
      return 0
    fi
    found="$found $name is ${answer%%$'\n'*},"
  done
  fail "needs Python $PYTHON_OLDEST or newer; found:${found:- none}${found:+ nothing newer}." \
    "Install python3 (Debian 12 or later has it), or name one with SEAFRET_PYTHON=PATH"
}

newer_or_equal() { [ "$(printf '%s\n%s\n' "$1" "$2" | sort -V | head -n 1)" = "$2" ]; }

# What decides whether an environment is still the right one.
environment_stamp() { # top python extras
  {
    "$2" -c 'import sys; print(sys.version, sys.executable)'
    printf '%s\n' "$1" "$3"
    cat "$1/pyproject.toml" "$1/deploy/constraints.txt"
  } | cksum
}

# Whether ENVIRONMENT was finished under this stamp and its Python still starts.
is_current() { # stamp
  [ "$(cat "$ENVIRONMENT.stamp" 2>/dev/null)" = "$1" ] && "$ENVIRONMENT/bin/python" -c '' 2>/dev/null
}

has_pip() { "$1/bin/python" -m pip --version >/dev/null 2>&1; }

# Three ways to an empty environment with pip in it, the one that touches nothing outside first.
make_empty() { # python folder log
  local python=$1 folder=$2 log=$3 tool
  rm -rf "$folder"
  if "$python" -m venv "$folder" >>"$log" 2>&1 && has_pip "$folder"; then return 0; fi

  say "this Python has no complete venv module; trying virtualenv instead"
  tool="$folder.virtualenv"
  rm -rf "$folder" "$tool"
  # --target is allowed under a locked system pip (PEP 668): it installs nothing into the system.
  if "$python" -m pip install -q --target "$tool" virtualenv >>"$log" 2>&1 &&
    PYTHONPATH="$tool" "$python" -m virtualenv -q "$folder" >>"$log" 2>&1 && has_pip "$folder"; then
    rm -rf "$tool"
    return 0
  fi
  rm -rf "$folder" "$tool"

  if is_root && command -v apt-get >/dev/null 2>&1; then
    say "installing python3-venv with apt-get"
    apt_install "$log" python3-venv || true
    if "$python" -m venv "$folder" >>"$log" 2>&1 && has_pip "$folder"; then return 0; fi
    rm -rf "$folder"
  fi
  fail "cannot make a Python environment: $python has neither venv nor a working pip." \
    "Install it as root: apt-get install python3-venv   (details: $log)"
}

apt_install() { # log packages...
  local log=$1
  shift
  export DEBIAN_FRONTEND=noninteractive
  # A list of packages that is partly out of reach may still hold what is needed: go on.
  apt-get -qq update >>"$log" 2>&1 </dev/null || true
  apt-get -qq -o Dpkg::Use-Pty=0 -o DPkg::Lock::Timeout=120 install -y \
    --no-install-recommends "$@" >>"$log" 2>&1 </dev/null
}

# Sets ENVIRONMENT to the folder of an environment in which the named extras are installed. A second
# call with nothing changed costs two starts of Python.
make_environment() { # top name extras
  local top=$1 name=$2 extras=$3 python stamp log
  python=$(find_python) || exit "$FAULT_STATUS"
  mkdir -p "$top/.seafret" || fail "cannot write in $top; run this from a checkout of your own"
  log="$top/.seafret/$name.log"
  ENVIRONMENT="$top/.seafret/$name"
  unset PYTHONHOME PYTHONPATH VIRTUAL_ENV PIP_USER PIP_TARGET PIP_PREFIX PIP_REQUIRE_VIRTUALENV
  export PYTHONNOUSERSITE=1 PIP_DISABLE_PIP_VERSION_CHECK=1 PIP_NO_INPUT=1

  # Two runs at once would build in each other's folder; the second waits for the first.
  if command -v flock >/dev/null 2>&1; then
    exec 9>"$ENVIRONMENT.lock"
    flock -n 9 || { say "another run is preparing .seafret/$name; waiting" && flock 9; }
  fi
  stamp=$(environment_stamp "$top" "$python" "$extras")
  if ! is_current "$stamp"; then
    build_environment "$top" "$python" "$extras" "$log"
    printf '%s\n' "$stamp" >"$ENVIRONMENT.stamp"
  fi
  exec 9>&-
}

build_environment() { # top python extras log
  local top=$1 python=$2 extras=$3 log=$4
  say "preparing .seafret/$(basename "$ENVIRONMENT") with $("$python" -V), once; this takes a minute or two"
  rm -f "$ENVIRONMENT.stamp"
  : >"$log"
  make_empty "$python" "$ENVIRONMENT" "$log"
  # The constraints hold for what builds the package, too; newer pips have a variable of its own.
  export PIP_CONSTRAINT="$top/deploy/constraints.txt" PIP_BUILD_CONSTRAINT="$top/deploy/constraints.txt"
  if ! (cd "$top" && "$ENVIRONMENT/bin/python" -m pip install -q -e ".[$extras]") >>"$log" 2>&1; then
    tail -n 5 "$log" >&2
    fail "cannot install seafret[$extras]; pip's last lines are above, all of them in $log." \
      "Is the package index within reach of this machine? Then run the same command again"
  fi
  unset PIP_CONSTRAINT PIP_BUILD_CONSTRAINT
}
