"""Load on the bench: sessions jogging at once over real sockets, latency and memory.

    python benchmarks/bench_load.py                 10 and 30 sessions, 20 s each; a soak of 60 s
    python benchmarks/bench_load.py --sessions 10 --seconds 60 --soak 600

The server runs in a process of its own, as ``drytouch bench --class`` does; the clients are real
WebSocket clients in another. Input to state: from sending a key press to having the state in
which the axis moves.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import multiprocessing
import random
import re
import time
from pathlib import Path
from typing import Any

from websockets.asyncio.client import ClientConnection, connect

from drytouch.viz.bench.gate import Gate
from drytouch.viz.bench.room import Room, Rules
from drytouch.viz.bench.serve import serve

EXERCISE = "three-tools-by-hand"
BEAT_S = 0.04


def serve_here(said: Any) -> None:
    room = Room(Rules(EXERCISE), None)
    serve(room, Gate(), 0, said.put, open_browser=False)


def resident_mb(process: int) -> float:
    text = Path(f"/proc/{process}/status").read_text()
    found = re.search(r"VmRSS:\s+(\d+)", text)
    return int(found.group(1)) / 1024 if found else float("nan")


def processor_s(process: int) -> float:
    fields = Path(f"/proc/{process}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / 100.0


class Hand:
    """One trainee: presses and releases keys, and measures."""

    def __init__(self, socket: ClientConnection, seed: int) -> None:
        self.socket = socket
        self.random = random.Random(seed)
        self.latencies_s: list[float] = []
        self.bytes = self.frames = self.lost = 0
        self.moving = asyncio.Event()
        self.resting = asyncio.Event()

    async def listen(self) -> None:
        async for text in self.socket:
            self.bytes += len(text)
            message = json.loads(text)
            if message["kind"] == "state":
                self.frames += 1
                if "moving" in message:
                    (self.resting if message["moving"] is None else self.moving).set()
            elif message["kind"] == "events":
                self.lost += sum(event["kind"] == "key-lost" for event in message["events"])

    async def say(self, **message: Any) -> None:
        await self.socket.send(json.dumps(message))

    async def work(self, seconds: float) -> None:
        end = time.perf_counter() + seconds
        await self.say(hello=1)
        await self.resting.wait()
        while time.perf_counter() < end:
            await asyncio.sleep(self.random.uniform(0.1, 0.5))
            axis, towards = self.random.choice(("x", "y", "z")), self.random.choice("+--")
            self.moving.clear()
            self.resting.clear()
            sent = time.perf_counter()
            await self.say(do="jog-press", axis=axis, towards=towards, speed_mm_per_min=500.0)
            try:
                await asyncio.wait_for(self.moving.wait(), 0.8)
            except TimeoutError:
                continue  # at a soft limit nothing moves
            self.latencies_s.append(time.perf_counter() - sent)
            for _ in range(self.random.randint(2, 20)):
                await self.say(do="beat")
                await asyncio.sleep(BEAT_S)
            await self.say(do="jog-release")
            await asyncio.wait_for(self.resting.wait(), 10.0)


async def load(address: str, sessions: int, seconds: float) -> list[Hand]:
    hands = []
    for seed in range(sessions):
        hands.append(Hand(await connect(address.replace("http", "ws") + "live"), seed))
    listening = [asyncio.create_task(hand.listen()) for hand in hands]
    await asyncio.gather(*(hand.work(seconds) for hand in hands))
    for hand, task in zip(hands, listening, strict=True):
        await hand.socket.close()
        task.cancel()
    return hands


def measure(sessions: int, seconds: float, soak: bool = False) -> None:
    said: Any = multiprocessing.Queue()
    process = multiprocessing.Process(target=serve_here, args=(said,), daemon=True)
    process.start()
    address = said.get(timeout=60)
    assert process.pid is not None
    memory: list[tuple[float, float]] = []
    start, used = time.perf_counter(), processor_s(process.pid)

    async def both() -> list[Hand]:
        running = asyncio.create_task(load(address, sessions, seconds))
        while not running.done():
            memory.append((time.perf_counter() - start, resident_mb(process.pid or 0)))
            await asyncio.sleep(min(seconds / 20, 5.0))
        return running.result()

    hands = asyncio.run(both())
    wall = time.perf_counter() - start
    share = (processor_s(process.pid) - used) / wall
    process.terminate()
    process.join()
    found = sorted(value for hand in hands for value in hand.latencies_s)
    at = lambda share: found[min(int(share * len(found)), len(found) - 1)] * 1000  # noqa: E731
    print(
        f"{sessions:3d} sessions, {wall:4.0f} s, {len(found)} presses: input to state, ms: "
        f"median {at(0.5):.1f}, 95 % {at(0.95):.1f}, most {at(1.0):.1f}; "
        f"server {share:.0%} of a core; {sum(h.frames for h in hands) / wall / sessions:.1f} "
        f"states/s and {sum(h.bytes for h in hands) / wall / sessions / 1000:.1f} kB/s a session; "
        f"keys lost: {sum(h.lost for h in hands)}",
        flush=True,
    )
    if soak:
        late = memory[len(memory) // 3 :]
        (t0, m0), (t1, m1) = late[0], late[-1]
        print(f"    memory: {m0:.1f} MB at {t0:.0f} s, {m1:.1f} MB at {t1:.0f} s: "
              f"{(m1 - m0) / (t1 - t0) * 3600:+.1f} MB an hour for {sessions} sessions that jog "
              f"without a pause", flush=True)  # fmt: skip


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--sessions", type=int, nargs="*", default=[10, 30])
    options.add_argument("--seconds", type=float, default=20.0)
    options.add_argument("--soak", type=float, default=60.0)
    given = options.parse_args()
    for sessions in given.sessions:
        measure(sessions, given.seconds)
    if given.soak:
        measure(10, given.soak, soak=True)


if __name__ == "__main__":
    main()
