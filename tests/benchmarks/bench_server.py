"""How the server answers: one student on an idle machine, a class that changes a setting every three seconds, and the same class
beside two who mean harm.

    python tests/benchmarks/bench_server.py                        # 30 students, 2 minutes
    python tests/benchmarks/bench_server.py --quick                # 20 seconds
    python tests/benchmarks/bench_server.py --hostile --minutes 5  # 5 minutes without and 5 with two hostile clients, and the ratio

Real HTTP over the loopback against `haulbench serve` in a process of its own; every change has inputs nobody had before. Each
client has an address of its own, since the server tells askers apart by theirs; a hostile one is a process of its own. Beside each
time stands what was driven, so that a fast wrong answer is seen. No test fails on a clock.
"""

import argparse
import gzip
import http.client
import itertools
import json
import multiprocessing
import os
import platform
import random
import re
import socket
import statistics
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

ROAD = "kessarin-round"
PAUSE = 3.0  # s between the changes of one student
LOST = (OSError, http.client.HTTPException, ValueError)  # what may come of a request that is meant to be a bad one
TARGET = 1.5  # the students' p95 with hostile clients over that without them


def started(port: int) -> tuple[subprocess.Popen[str], int]:
    """A server in a process of its own, warm, and its port."""
    command = [sys.executable, "-m", "haulbench", "serve", "--port", str(port)]
    server = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    assert server.stdout is not None
    found = re.search(r":(\d+)/", server.stdout.readline())
    assert found
    port = int(found[1])
    while not json.loads(asked(port, "127.0.0.1", "GET", "/ready")[1])["ready"]:
        time.sleep(0.3)
    return server, port


def connected(port: int, address: str, timeout: float = 150.0) -> http.client.HTTPConnection:
    """A connection from an address of the loopback."""
    return http.client.HTTPConnection("127.0.0.1", port, timeout=timeout, source_address=(address, 0))


def asked(port: int, address: str, way: str, path: str, body: str | bytes | None = None) -> tuple[int, bytes]:
    """One request on a connection of its own."""
    connection = connected(port, address)
    try:
        connection.request(way, path, body, {"Content-Type": "application/json", "Accept-Encoding": "gzip"})
        answer = connection.getresponse()
        content = answer.read()
    finally:
        connection.close()
    return answer.status, gzip.decompress(content) if answer.headers["Content-Encoding"] == "gzip" else content


def setup(road: str, **changes: str) -> dict[str, Any]:
    """A setup as a browser sends it; `__` stands for the dot of a key."""
    keys = {key.replace("__", "."): value for key, value in changes.items()}
    return {"truck": "long-haul-manual", "road": road, "settings": "defaults", "changes": keys}


class Student:
    """One browser's connection, kept open; each change is new to the server."""

    numbers = itertools.count(1)

    def __init__(self, port: int, address: str) -> None:
        self.connection = connected(port, address)
        self.times: list[float] = []
        self.sizes: list[int] = []
        self.wrong: list[str] = []
        self.got: list[tuple[int, str | None, bytes]] = []

    def change(self) -> None:
        """Changes the mass a little and waits for the trip."""
        given = setup(ROAD, vehicle__mass_kg=f"{36_000 + 0.25 * next(self.numbers):.2f}", driver__descent_gear="7")
        before = time.perf_counter()
        self.connection.request(
            "POST",
            "/trip/drive",
            json.dumps({"setup": given}),
            {"Content-Type": "application/json", "Accept-Encoding": "gzip"},
        )
        answer = self.connection.getresponse()
        content = answer.read()
        self.times.append(time.perf_counter() - before)
        self.sizes.append(len(content))
        self.got.append((answer.status, answer.headers["Content-Encoding"], content))

    def look_through(self) -> None:
        """Reads the answers when all are there: thirty browsers would do that on thirty machines."""
        for status, packed, content in self.got:
            if status != 200 or packed != "gzip":
                self.wrong.append(f"{status}: {content[:200]!r}")
                continue
            raw = gzip.decompress(content)
            if raw[:1] == b"{":
                self.wrong.append(raw[:200].decode())
                continue
            head = json.loads(raw[4 : 4 + int.from_bytes(raw[:4], "little")])
            if head["found"]["ended"] != "arrived" or not 5000 < head["found"]["time_s"] < 9000:
                self.wrong.append(str(head["found"]))
        self.got.clear()

    def sit(self, until: float, first: float) -> None:
        """Changes something every few seconds."""
        time.sleep(first)
        while time.perf_counter() < until:
            begun = time.perf_counter()
            self.change()
            time.sleep(max(PAUSE - (time.perf_counter() - begun), 0.0))


# ---------------------------------------------------------------- who means harm


class Hostile:
    """One machine that sends the worst it may, from several connections at once, until it is told to stop."""

    def __init__(self, port: int, address: str) -> None:
        self.port, self.address = port, address
        self.stop = threading.Event()
        self.chance = random.Random(address)
        self.came: Counter[str] = Counter()
        ways = [self.long_trips] * 2 + [self.short_trips] * 4 + [self.dyno_runs] + [self.long_drives] * 2
        self.threads = [
            threading.Thread(target=self.again, args=(way,), daemon=True)
            for way in (*ways, self.garbage, self.slow_upload)
        ]

    def again(self, way: Callable[[], str]) -> None:
        """Does one thing over and over."""
        while not self.stop.is_set():
            try:
                came = way()
            except LOST as problem:
                came = type(problem).__name__
            self.came[f"{way.__name__}: {came}"] += 1
            if came.startswith(("4", "said")):
                self.stop.wait(
                    0.1
                )  # refused: as fast as the server lets it, without filling this machine with refusals

    def post(self, path: str, body: Any) -> tuple[str, bytes]:
        """Sends a question; in a word what came of it, and the answer."""
        status, content = asked(self.port, self.address, "POST", path, json.dumps(body))
        refused = (status == 200 and content[:12] == b'{"message": ') or content[:11] == b'{"message":'
        return "said no" if refused else str(status), content

    def weight(self) -> str:
        """A mass nobody has driven with."""
        return f"{20_000 + 20_000 * self.chance.random():.4f}"

    def long_trips(self) -> str:
        """As long and fine as may be asked, with failures and meters."""
        given = setup(
            "grade:0%,300km",
            simulation__tick_s="0.005",
            simulation__log_s="0.1",
            vehicle__mass_kg=self.weight(),
            faults__occur='["1 km coolant temperature open"]',
            circuits__meters='["coolant temperature"]',
        )
        return self.post("/trip/drive", {"setup": given})[0]

    def short_trips(self) -> str:
        """One short trip after the other."""
        return self.post("/trip/drive", {"setup": setup("grade:2%,40km", vehicle__mass_kg=self.weight())})[0]

    def dyno_runs(self) -> str:
        """A sweep as slow as it may be, up and down."""
        given = setup(
            "grade:0%,1km",
            dyno__rate_rpm_per_s="0.5",
            dyno__both_ways="true",
            faults__watch="true",
            simulation__tick_s="0.005",
            engine__rated_power_kw=f"{340 + 10 * self.chance.random():.4f}",
        )
        return self.post("/dyno/run", {"setup": given, "test": "full-load"})[0]

    def long_drives(self) -> str:
        """A practice case with as many long drives as are taken, then three wrong answers and its marking."""
        came, content = self.post("/hidden-fault/begin", {"practice": self.chance.randrange(900_000), "level": 2})
        if came != "200":
            return came
        kept = json.loads(content)["kept"]
        for _ in range(60):
            test = f"drive grade:{self.chance.uniform(-1, 1):.3f}%,25km driver.desired_speed_km_h=45"
            came, content = self.post("/hidden-fault/test", {"session": kept, "test": test})
            if came != "200" or self.stop.is_set():
                break
            kept = json.loads(content)["kept"]
        for _ in range(3):
            given = {"session": kept, "part": "air filter", "failure": "blocked", "because": [], "explanation": ""}
            came, content = self.post("/hidden-fault/answer", given)
            if came == "200":
                kept = json.loads(content)["kept"]
        return self.post("/hidden-fault/marking", {"session": kept})[0]

    def garbage(self) -> str:
        """What is no question at all: noise, deep lists, a large body."""
        bodies = (os.urandom(20_000), b"[" * 100_000, b'{"setup": ' * 5_000, b"0" * 250_000)
        status, _ = asked(self.port, self.address, "POST", "/trip/drive", self.chance.choice(bodies))
        self.stop.wait(0.1)
        return str(status)

    def slow_upload(self) -> str:
        """A recording that comes a few bytes at a time."""
        with socket.create_connection(("127.0.0.1", self.port), 150.0, (self.address, 0)) as wire:
            head = f"POST /roads/upload?name=a.gpx HTTP/1.1\r\nHost: localhost:{self.port}\r\nContent-Length: 9000000\r\n\r\n"
            wire.sendall(head.encode())
            for _ in range(60):
                wire.sendall(b"<gpx>" * 10)
                if self.stop.wait(1.0):
                    return "stopped"
            return "60 s long"


def mean_harm(port: int, address: str, go: Any, stop: Any, came: Any) -> None:
    """A hostile client, in a process of its own; what came of its requests goes into a queue."""
    client = Hostile(port, address)
    go.wait()  # what it takes to start a client is no harm done
    for thread in client.threads:
        thread.start()
    stop.wait()
    client.stop.set()
    came.put(dict(client.came))


@contextmanager
def hostile_beside(port: int, number: int) -> Iterator[Counter[str]]:
    """Some who mean harm, as long as the `with` lasts; afterwards, what came of their requests."""
    context = multiprocessing.get_context("spawn")
    go, stop, queue, came = context.Barrier(number + 1), context.Event(), context.Queue(), Counter[str]()
    clients = [
        context.Process(target=mean_harm, args=(port, f"127.0.200.{place + 1}", go, stop, queue), daemon=True)
        for place in range(number)
    ]
    for client in clients:
        client.start()
    go.wait()
    try:
        yield came
    finally:
        stop.set()
        for _ in clients:
            came.update(queue.get(timeout=30))
        for client in clients:
            client.terminate()


# ---------------------------------------------------------------- what is measured


def memory_mb(process: int) -> float:
    """Memory that a process and its children hold for themselves alone: what others on the machine share with them comes and goes
    with those. Resident memory where that is not told.
    """
    rows = subprocess.run(["ps", "-eo", "pid,ppid,rss"], capture_output=True, text=True, check=True).stdout.split("\n")
    total = 0.0
    for pid, parent, rss in (map(int, line.split()) for line in rows[1:] if line.strip()):
        if process in (pid, parent):
            found: list[str] = []
            with suppress(OSError):
                text = Path(f"/proc/{pid}/smaps_rollup").read_text()
                found = re.findall(r"^Private_(?:Clean|Dirty): *(\d+)", text, re.MULTILINE)
            total += sum(map(int, found)) if found else rss
    return total / 1024.0


class Memory:
    """Memory of the server, looked at every minute, or ten times in a shorter run."""

    def __init__(self, process: int, seconds: float) -> None:
        self.rows: list[tuple[float, float]] = []
        self._process, self._pause, self._stop = process, min(60.0, seconds / 10.0), threading.Event()
        self._thread = threading.Thread(target=self._look, daemon=True)
        self._thread.start()

    def _look(self) -> None:
        begun = time.perf_counter()
        while True:
            self.rows.append(((time.perf_counter() - begun) / 60.0, memory_mb(self._process)))
            if self._stop.wait(self._pause):
                return

    def say(self) -> None:
        """Prints every look, and how fast it grew over the last half."""
        self._stop.set()
        self._thread.join()
        print("memory of server and workers, MB: " + ", ".join(f"{mb:.0f} at {at:.1f} min" for at, mb in self.rows))
        half = self.rows[len(self.rows) // 2 :]
        if len(half) > 2:
            slope = statistics.linear_regression([at for at, _ in half], [mb for _, mb in half]).slope
            print(f"over the last half it grew by {slope:+.2f} MB a minute")


def said(name: str, students: list[Student]) -> float:
    """Times of many answers in one line; gives their p95 in seconds."""
    for student in students:
        student.look_through()
    times = sorted(each for student in students for each in student.times)
    sizes = [each for student in students for each in student.sizes]
    wrong = [each for student in students for each in student.wrong]
    p95 = times[min(int(0.95 * len(times)), len(times) - 1)]
    print(
        f"{name:44}{len(times):6} changes  median {1000 * statistics.median(times):5.0f} ms  p95 {1000 * p95:5.0f} ms"
        f"  slowest {1000 * times[-1]:5.0f} ms  {max(sizes) / 1000:5.1f} kB at most  wrong {len(wrong)}",
        flush=True,
    )
    assert not wrong, wrong[:3]
    assert max(sizes) <= 250_000
    return p95


def class_sits(port: int, clients: int, seconds: float) -> list[Student]:
    """A class changes settings for so long."""
    until = time.perf_counter() + seconds
    students = [Student(port, f"127.0.{1 + n // 200}.{1 + n % 200}") for n in range(clients)]
    threads = [
        threading.Thread(target=student.sit, args=(until, PAUSE * n / len(students)))
        for n, student in enumerate(students)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return students


def main() -> None:
    """Runs all and prints."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--quick", action="store_true", help="20 seconds each")
    parser.add_argument("--clients", type=int, default=30)
    parser.add_argument("--minutes", type=float, default=2.0)
    parser.add_argument("--hostile", action="store_true", help="the class once more, beside two who mean harm")
    options = parser.parse_args()
    seconds = 20.0 if options.quick else 60.0 * options.minutes
    server, port = started(0)
    memory: Memory | None = None
    try:
        load = f", load {os.getloadavg()[0]:.1f} before" if hasattr(os, "getloadavg") else ""
        print(
            f"{platform.machine()}, {os.cpu_count()} cores{load}, Python {platform.python_version()}; {ROAD}, tick 0.01 s"
        )
        alone = Student(port, "127.0.0.2")
        for _ in range(4):
            alone.change()  # workers load what they need once
        alone.times.clear()
        for _ in range(10 if options.quick else 40):
            alone.change()
            time.sleep(0.1)
        said("one student, idle machine", [alone])
        memory = Memory(server.pid, seconds * (1 + options.hostile))
        name = f"{options.clients} students, one change in {PAUSE:g} s"
        without = said(name, class_sits(port, options.clients, seconds))
        if options.hostile:
            with hostile_beside(port, 2) as came:
                beside = said(f"{name}, 2 hostile", class_sits(port, options.clients, seconds))
            print("what came of theirs: " + ", ".join(f"{number} x {what}" for what, number in sorted(came.items())))
            print(f"p95 with hostile clients over that without: {beside / without:.2f} (target {TARGET})")
    finally:
        if memory is not None:
            memory.say()
        server.terminate()
        server.wait(30)


if __name__ == "__main__":
    main()
