"""The shell side of the two README commands, on machines that lack something.

A machine is a folder of links to the few tools that the scripts use, as the only search path.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.house.measures import TOP

TOOLS = ("bash", "basename", "cat", "cksum", "flock", "head", "mkdir", "rm", "sort", "tail", "sed")
NOT_ROOT = "echo 1000"


@dataclass(frozen=True, slots=True)
class Machine:
    """A search path with chosen commands on it, and a small project to prepare."""

    bin: Path
    project: Path

    def give(self, name: str, script: str) -> None:
        path = self.bin / name
        path.write_text(f"#!{self.bin}/bash\n{script}\n", encoding="utf-8")
        path.chmod(0o755)

    def run(self, script: str) -> subprocess.CompletedProcess[str]:
        """Run bash with the scripts' functions loaded; `$project` is the small project."""
        loaded = f'. "{TOP}/deploy/environment.sh"; PATH="{self.bin}"\n'
        return subprocess.run(
            [str(self.bin / "bash"), "-uc", loaded + script],
            cwd=TOP,
            env={"PATH": str(self.bin), "project": str(self.project)},
            capture_output=True,
            text=True,
            check=False,
            timeout=60,
        )


@pytest.fixture
def machine(tmp_path: Path) -> Machine:
    """A machine without Python, package tools or root."""
    folder = tmp_path / "bin"
    folder.mkdir()
    for tool in TOOLS:
        found = shutil.which(tool)
        assert found, f"this test needs {tool}"
        (folder / tool).symlink_to(found)
    project = tmp_path / "project"
    (project / "deploy").mkdir(parents=True)
    (project / "pyproject.toml").write_text("[project]\n", encoding="utf-8")
    (project / "deploy/constraints.txt").write_text("numpy==2.0\n", encoding="utf-8")
    made = Machine(folder, project)
    made.give("id", NOT_ROOT)
    return made


REAL = f'exec "{sys.executable}" "$@"'


def test_a_machine_without_python_is_told_to_install_it(machine: Machine) -> None:
    ran = machine.run("find_python")
    assert ran.returncode == 69 and not ran.stdout
    assert len(ran.stderr.splitlines()) == 1
    assert "found: none" in ran.stderr and "Install python3" in ran.stderr


def test_a_python_that_is_too_old_is_named_in_one_line(machine: Machine) -> None:
    machine.give("python3", "echo 3.9; echo /somewhere/python3")
    ran = machine.run("find_python")
    assert ran.returncode == 69 and len(ran.stderr.splitlines()) == 1
    assert "needs Python 3.11 or newer" in ran.stderr and "python3 is 3.9" in ran.stderr


def test_a_newer_python_beside_an_old_one_is_taken(machine: Machine) -> None:
    machine.give("python3", "echo 3.9; echo /old/python3")
    machine.give("python3.12", "echo 3.12; echo /new/python3.12")
    assert machine.run("find_python").stdout == "/new/python3.12\n"


@pytest.mark.parametrize(
    ("version", "answer"),
    [("3.9", 1), ("3.10", 1), ("3.11", 0), ("3.13", 0), ("4.0", 0), ("2.7", 1)],
)
def test_versions_are_compared_as_numbers_not_as_text(
    machine: Machine, version: str, answer: int
) -> None:
    assert machine.run(f"newer_or_equal {version} 3.11").returncode == answer


def test_without_venv_pip_and_root_one_line_says_what_to_install(machine: Machine) -> None:
    machine.give("stub", 'case "$*" in *venv*|*pip*) exit 1;; esac\n' + REAL)
    machine.give("python3", f'case "$*" in *version*) echo 3.12; echo {machine.bin}/stub;; esac')
    ran = machine.run('make_environment "$project" demo gateway')
    assert ran.returncode == 69
    assert ran.stderr.splitlines()[-1].startswith("seafret: cannot make a Python environment")
    assert "apt-get install python3-venv" in ran.stderr
    assert not (machine.project / ".seafret/demo.stamp").exists()


CURRENT = """
ENVIRONMENT="$project/.seafret/demo"
mkdir -p "$ENVIRONMENT/bin"
stamp=$(environment_stamp "$project" "$python" gateway)
printf '%s\\n' "$stamp" >"$ENVIRONMENT.stamp"
is_current "$stamp" && printf 'current '
is_current "$(environment_stamp "$project" "$python" test)" || printf 'other-extras '
printf 'numpy==2.1\\n' >"$project/deploy/constraints.txt"
is_current "$(environment_stamp "$project" "$python" gateway)" || printf 'other-constraints '
"""


def test_an_environment_is_kept_until_extras_or_constraints_change(machine: Machine) -> None:
    folder = machine.project / ".seafret/demo/bin"
    folder.mkdir(parents=True)
    (folder / "python").symlink_to(sys.executable)
    ran = machine.run(f'python="{sys.executable}"\n{CURRENT}')
    assert ran.stdout.split() == ["current", "other-extras", "other-constraints"]


def test_an_environment_whose_python_is_gone_is_made_anew(machine: Machine) -> None:
    ran = machine.run(f'python="{sys.executable}"\n{CURRENT}')
    assert "current" not in ran.stdout.split()


NEEDS = '. "$PWD/tests/system_packages.sh"\nSYSTEM_NEEDS="{needs}"\n{then}'


def test_a_missing_package_without_root_is_one_line_and_a_failure(machine: Machine) -> None:
    needs = "a broker|command -v no-such-program|no-such-package\nbash|command -v bash|bash"
    ran = machine.run(NEEDS.format(needs=needs, then="ensure_system_packages log; echo went on"))
    assert ran.returncode == 69 and not ran.stdout
    assert len(ran.stderr.splitlines()) == 1
    assert "As root: apt-get install no-such-package" in ran.stderr


def test_nothing_is_installed_where_nothing_is_missing(machine: Machine) -> None:
    then = "ensure_system_packages log; echo went on"
    ran = machine.run(NEEDS.format(needs="bash|command -v bash|bash", then=then))
    assert ran.returncode == 0 and ran.stdout == "went on\n" and not ran.stderr


def test_apt_is_asked_once_for_all_that_is_missing(machine: Machine) -> None:
    machine.give("id", "echo 0")
    calls = machine.project / "calls"
    ready = f'case "$*" in *install*) ln -s bash "{machine.bin}/a-broker";; esac'
    machine.give("apt-get", f'echo "$*" >>"{calls}"\n{ready}')
    (machine.bin / "ln").symlink_to(str(shutil.which("ln")))
    needs = "a broker|command -v a-broker|broker-package\nc|command -v a-broker|gcc libc6-dev"
    then = f'ensure_system_packages "{machine.project}/log"; echo went on'
    ran = machine.run(NEEDS.format(needs=needs, then=then))
    assert ran.returncode == 0 and ran.stdout.endswith("went on\n"), ran.stderr
    update, install = calls.read_text(encoding="utf-8").splitlines()
    assert update.endswith("update")
    assert install.endswith("broker-package gcc libc6-dev")


def test_apt_that_brings_nothing_is_a_failure(machine: Machine) -> None:
    machine.give("id", "echo 0")
    machine.give("apt-get", "exit 0")
    needs = "a broker|command -v no-such-program|no-such-package"
    then = f'ensure_system_packages "{machine.project}/log"; echo went on'
    ran = machine.run(NEEDS.format(needs=needs, then=then))
    assert ran.returncode == 69 and "did not bring" in ran.stderr and "went on" not in ran.stdout


def test_administrators_folders_are_searched_even_if_the_shell_does_not() -> None:
    source = f'. "{TOP}/deploy/environment.sh"; echo "$PATH"'
    bash = shutil.which("bash")
    assert bash
    ran = subprocess.run(
        [bash, "-c", source], env={"PATH": os.defpath}, capture_output=True, text=True, check=True
    )
    assert "/usr/sbin" in ran.stdout.strip().split(":")
