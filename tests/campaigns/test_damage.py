"""The unit's file truncated, flipped, gone or old: what is lost is said, all else arrives."""

from __future__ import annotations

import random
import shutil
from collections import Counter
from contextlib import closing
from pathlib import Path

import pytest

from edge.keep import StorageFault
from gateway.history.sqlite_store import SqliteHistory
from tests.campaigns.chain import Chain, cut_short, flip
from tests.campaigns.gate import SITE
from tests.campaigns.unit_process import FILE_NAME

DAMAGES, LONG_DAMAGES = 28, 1500
KINDS = ("truncated", "flipped-1", "flipped-20", "page", "gone", "old", "wal-flipped")


def damage(chain: Chain, kind: str, chance: random.Random, image: Path) -> None:
    path = chain.unit / FILE_NAME
    match kind:
        case "truncated":
            cut_short(path, chance)
        case "flipped-1":
            flip(path, chance, 1)
        case "flipped-20":
            flip(path, chance, 20)
        case "page":
            content = bytearray(path.read_bytes())
            at = chance.randrange(len(content) // 4096) * 4096
            content[at : at + 4096] = chance.randbytes(4096)
            path.write_bytes(content)
        case "gone":
            path.unlink()
        case "old":
            shutil.copyfile(image, path)
        case _:
            wal = path.with_name(path.name + "-wal")
            flip(wal if wal.exists() and wal.stat().st_size else path, chance, 3)


def damaged_once(folder: Path, kind: str, seed: int) -> Counter[str]:
    """Some delivered, some receipted, some neither; then the damage, and life goes on."""
    chance, chain, where = random.Random(seed), Chain(folder), Counter[str]()
    with chain.opened() as file:
        chain.make(file, chance.randrange(20, 200))
        chain.deliver(file, messages=chance.randrange(1, 6))
    shutil.copyfile(chain.unit / FILE_NAME, folder / "image")
    with chain.opened() as file:
        chain.make(file, chance.randrange(20, 200))
        chain.deliver(file, messages=chance.randrange(6), receipts=chance.random() < 0.5)
        chain.make(file, chance.randrange(1, 60))
        lanes, keep = file.lanes(), folder / "killed"
        where["commit"] += any(lane.last > lane.promised for lane in lanes)
        where["send"] += any(lane.promised > lane.released for lane in lanes)
        shutil.copytree(chain.unit, keep)  # as a kill leaves it
    shutil.rmtree(chain.unit)
    shutil.copytree(keep, chain.unit)
    damage(chain, kind, chance, folder / "image")
    where += go_on(chain)
    found = chain.judged()
    assert found.is_accounted_for(), f"{kind}, seed {seed}: {found}"
    where["lost, and said so"] += found.lost_count()
    where["nothing lost"] += not found.lost
    conflicts = events(chain, "conflict")
    assert conflicts == 0, f"{kind}, seed {seed}: {conflicts} false conflicts"
    shutil.rmtree(folder)
    return where


def go_on(chain: Chain) -> Counter[str]:
    """Open, commit and deliver as the daemon does: opened anew where the file turns out broken."""
    where: Counter[str] = Counter()
    for step in (lambda file: chain.make(file, 30), chain.deliver):
        for _ in range(3):
            try:
                with chain.opened() as file:
                    where["new epoch"] += bool(file.new_epoch)
                    step(file)
                break
            except StorageFault:
                where["found broken at work"] += 1
        else:
            raise AssertionError("opened anew three times in vain")
    return where


def events(chain: Chain, name: str) -> int:
    with closing(SqliteHistory(chain.history).reader(SITE)) as reader:
        return sum(one.count for one in reader.security_events() if one.event == name)


def campaign(folder: Path, damages: int, first_seed: int) -> None:
    where: Counter[str] = Counter()
    for number in range(damages):
        (one := folder / str(number)).mkdir()
        where += damaged_once(one, KINDS[number % len(KINDS)], first_seed + number)
    print(f"{damages} damages: {dict(where)}")
    names = ("commit", "send", "new epoch", "lost, and said so", "nothing lost")
    assert all(where[name] for name in names), where


def test_a_damaged_outbox_loses_only_what_a_loss_record_names(tmp_path: Path) -> None:
    campaign(tmp_path, DAMAGES, 0)


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_many_damaged_outboxes_lose_only_what_loss_records_name(tmp_path: Path) -> None:
    campaign(tmp_path, LONG_DAMAGES, 1000)


def test_a_folder_that_is_wholly_gone_shows_at_the_gateway_as_an_epoch_without_past(
    tmp_path: Path,
) -> None:
    """Nothing on the unit can know what was lost: people see that the chain is broken."""
    chain = Chain(tmp_path)
    with chain.opened() as file:
        chain.make(file, 100)
        chain.deliver(file, messages=9)
    shutil.rmtree(chain.unit)
    chain.unit.mkdir()
    with chain.opened() as file:
        chain.make(file, 10)
        chain.deliver(file)
    assert events(chain, "epoch-unchained") > 0
