"""So many may listen to the page's events; whoever began first gives way."""

import asyncio
from collections.abc import AsyncIterator, Callable, Coroutine
from typing import Any

import pytest

from swapbell_host.page.serving import listeners
from swapbell_host.page.serving.listeners import FAREWELL, Listeners

PATIENCE_S = 10.0


async def endless() -> AsyncIterator[str]:
    """Say something once, and then nothing for longer than anybody waits."""
    yield "begun"
    await asyncio.sleep(3600.0)


async def short() -> AsyncIterator[str]:
    yield "begun"
    yield "ended"


async def begun(room: Listeners, who: str) -> AsyncIterator[str]:
    stream = room.hear(who, endless())
    assert await anext(stream) == "begun"
    return stream


def played(scene: Callable[[Listeners], Coroutine[Any, Any, None]]) -> None:
    async def play() -> None:
        async with asyncio.timeout(PATIENCE_S):
            await scene(Listeners())

    asyncio.run(play())


@pytest.fixture(autouse=True)
def few(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(listeners, "OF_ONE_MAX", 2)
    monkeypatch.setattr(listeners, "IN_ALL_MAX", 3)


def test_the_oldest_of_an_account_gives_way_at_once_and_stays_away_for_a_while() -> None:
    async def scene(room: Listeners) -> None:
        first, second = [await begun(room, "Kim") for _ in range(2)]
        waiting = asyncio.ensure_future(anext(first))
        await asyncio.sleep(0.01)
        await begun(room, "Kim")
        assert await waiting == FAREWELL
        assert [each async for each in first] == []
        still = asyncio.ensure_future(anext(second))
        await asyncio.sleep(0.01)
        assert not still.done()
        still.cancel()

    played(scene)


def test_one_account_takes_no_place_of_another_that_keeps_to_its_own() -> None:
    async def scene(room: Listeners) -> None:
        robin = await begun(room, "Robin")
        crowd = [await begun(room, "Kim") for _ in range(20)]
        waiting = asyncio.ensure_future(anext(robin))
        await asyncio.sleep(0.01)
        assert not waiting.done()
        waiting.cancel()
        assert [await anext(each) for each in crowd[:-2]] == [FAREWELL] * 18

    played(scene)


def test_there_are_never_more_than_so_many_in_all() -> None:
    async def scene(room: Listeners) -> None:
        streams = [await begun(room, f"person {n}") for n in range(5)]
        assert [await anext(each) for each in streams[:2]] == [FAREWELL] * 2

    played(scene)


def test_whoever_leaves_makes_room() -> None:
    async def scene(room: Listeners) -> None:
        first = await begun(room, "Kim")
        for _ in range(5):
            assert [each async for each in room.hear("Kim", short())] == ["begun", "ended"]
        left = asyncio.ensure_future(anext(first))
        await asyncio.sleep(0.01)
        assert not left.done()
        left.cancel()
        await asyncio.gather(left, return_exceptions=True)
        second, _ = [await begun(room, "Kim") for _ in range(2)]
        waiting = asyncio.ensure_future(anext(second))
        await asyncio.sleep(0.01)
        assert not waiting.done()
        waiting.cancel()

    played(scene)
