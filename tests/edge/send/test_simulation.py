"""Many seeds of faults: every record arrives once and in order, and is released only then.

The long form can be run part by part, a part a process:

    python -m pytest tests/edge/send --long -s -k hundred_thousand --seeds 1000000-1009999
"""

from __future__ import annotations

import pytest

from edge.records import Stream
from tests.edge.send.simulation import STREAMS, Counts, World, careless_step, stormy

SEEDS = 300
LONG_SEEDS = range(1_000_000, 1_100_000)


def faults_of(world: World) -> list[str]:
    """What is wrong with the history of this world; nothing, if all is well."""
    wrong = []
    for key, last in world.file.last.items():
        held = world.gateway.stored.get(key, [])
        if held != list(range(1, last + 1)):
            wrong.append(f"{key}: made {last}, the history holds {held[:5]}...{held[-5:]}")
        if world.file.released[key] != last:
            wrong.append(f"{key}: made {last}, released {world.file.released[key]}")
    return wrong


def total(worlds: list[Counts]) -> dict[str, int]:
    names = ("dropped", "edge_died", "gateway_died", "links_cut", "restored", "backfills", "denied")
    return {name: sum(getattr(counts, name) for counts in worlds) for name in names}


def campaign(seeds: range) -> None:
    counts = []
    for seed in seeds:
        world = stormy(seed)
        assert faults_of(world) == [], f"seed {seed}"
        counts.append(world.counts)
    assert all(total(counts).values()), f"a kind of fault never happened: {total(counts)}"
    assert any(each.epochs > 2 for each in counts)
    print(f"seeds {seeds[0]} to {seeds[-1]}: nothing lost, repeated or reordered; {total(counts)}")


def test_three_hundred_stormy_worlds_lose_repeat_and_reorder_nothing() -> None:
    campaign(range(SEEDS))


@pytest.mark.long
@pytest.mark.timeout(7200)
def test_a_hundred_thousand_stormy_worlds_lose_repeat_and_reorder_nothing(
    request: pytest.FixtureRequest,
) -> None:
    part = request.config.getoption("--seeds")
    first, last = map(int, part.split("-")) if part else (LONG_SEEDS[0], LONG_SEEDS[-1])
    campaign(range(first, last + 1))


def test_the_twin_that_releases_on_the_brokers_word_loses_records() -> None:
    lossy = [seed for seed in range(40) if faults_of(stormy(seed, careless_step))]
    assert len(lossy) > 5


def test_a_seed_replays_exactly() -> None:
    first, second = stormy(7), stormy(7)
    assert first.counts == second.counts
    assert first.gateway.stored == second.gateway.stored


def test_a_calm_world_needs_no_repetition() -> None:
    world = World(1)
    world.calm = True
    world.run(10_000_000_000)
    for _ in range(30):
        world.commit(Stream.INTERVAL, 7)
        world.run(world.now + 2_000_000_000)
    assert world.counts.published == 30 + len(STREAMS)
    assert faults_of(world) == []
