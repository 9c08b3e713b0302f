"""How the server answers: one student on an idle machine, and a class that changes a setting every three seconds.

    python tests/benchmarks/bench_server.py            # 30 clients, 120 s
    python tests/benchmarks/bench_server.py --quick    # 30 clients, 20 s

Real HTTP over the loopback against `haulbench serve` in a process of its own; every change has inputs nobody had before. Beside
each time stands what was driven, so that a fast wrong answer is seen. No test fails on a clock.
"""

import argparse
import gzip
import http.client
import itertools
import json
import os
import platform
import re
import statistics
import subprocess
import sys
import threading
import time

ROAD = "kessarin-round"
PAUSE = 3.0  # s between the changes of one student


def started(port: int) -> tuple[subprocess.Popen[str], int]:
    """A server in a process of its own, warm, and its port."""
    command = [sys.executable, "-m", "sim.command", "serve", "--port", str(port)]
    server = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    assert server.stdout is not None
    found = re.search(r":(\d+)/", server.stdout.readline())
    assert found
    port = int(found[1])
    while not json.loads(asked(port, "GET", "/ready")[1])["ready"]:
        time.sleep(0.3)
    return server, port


def asked(port: int, way: str, path: str, body: str | None = None) -> tuple[int, bytes]:
    """One request on a connection of its own."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    connection.request(way, path, body, {"Content-Type": "application/json", "Accept-Encoding": "gzip"})
    answer = connection.getresponse()
    content = answer.read()
    connection.close()
    return answer.status, content


class Student:
    """One browser's connection, kept open; each change is new to the server."""

    numbers = itertools.count(1)

    def __init__(self, port: int) -> None:
        self.connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        self.times: list[float] = []
        self.sizes: list[int] = []
        self.wrong: list[str] = []
        self.got: list[tuple[int, str | None, bytes]] = []

    def change(self) -> None:
        """Changes the mass a little and waits for the trip."""
        changes = {"vehicle.mass_kg": f"{36_000 + 0.25 * next(self.numbers):.2f}", "driver.descent_gear": "7"}
        setup = {"truck": "long-haul-manual", "road": ROAD, "settings": "defaults", "changes": changes}
        before = time.perf_counter()
        self.connection.request(
            "POST", "/trip/drive", json.dumps({"setup": setup}), {"Content-Type": "application/json"}
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
            head = json.loads(raw[4 : 4 + int.from_bytes(raw[:4], "little")])
            if head["found"]["ended"] != "arrived" or not 5000 < head["found"]["time_s"] < 9000:
                self.wrong.append(str(head["found"]))

    def sit(self, until: float, first: float) -> None:
        """Changes something every few seconds."""
        time.sleep(first)
        while time.perf_counter() < until:
            begun = time.perf_counter()
            self.change()
            time.sleep(max(PAUSE - (time.perf_counter() - begun), 0.0))


def memory_mb(process: int) -> float:
    """Resident memory of a process and its children."""
    found = subprocess.run(["ps", "-eo", "pid,ppid,rss"], capture_output=True, text=True, check=True).stdout.split(
        "\n"
    )[1:]
    rows = [tuple(map(int, line.split())) for line in found if line.strip()]
    return sum(rss for pid, parent, rss in rows if process in (pid, parent)) / 1024.0


def said(name: str, students: list[Student]) -> None:
    """Times of many answers in one line."""
    for student in students:
        student.look_through()
    times = sorted(each for student in students for each in student.times)
    sizes = [each for student in students for each in student.sizes]
    wrong = [each for student in students for each in student.wrong]
    p95 = times[min(int(0.95 * len(times)), len(times) - 1)]
    print(
        f"{name:36}{len(times):6} changes  median {1000 * statistics.median(times):5.0f} ms  p95 {1000 * p95:5.0f} ms"
        f"  slowest {1000 * times[-1]:5.0f} ms  {max(sizes) / 1000:5.1f} kB at most  wrong {len(wrong)}"
    )
    assert not wrong, wrong[:3]
    assert max(sizes) <= 250_000


def main() -> None:
    """Runs both and prints."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--clients", type=int, default=30)
    options = parser.parse_args()
    seconds = 20.0 if options.quick else 120.0
    server, port = started(0)
    try:
        print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}; {ROAD}, tick 0.01 s")
        alone = Student(port)
        for _ in range(4):
            alone.change()  # workers load what they need once
        alone.times.clear()
        for _ in range(10 if options.quick else 40):
            alone.change()
            time.sleep(0.1)
        said("one student, idle machine", [alone])
        before = memory_mb(server.pid)
        until = time.perf_counter() + seconds
        students = [Student(port) for _ in range(options.clients)]
        threads = [
            threading.Thread(target=student.sit, args=(until, PAUSE * n / len(students)))
            for n, student in enumerate(students)
        ]
        for thread in threads:
            thread.start()
        time.sleep(0.5 * seconds)
        half = memory_mb(server.pid)
        for thread in threads:
            thread.join()
        said(f"{options.clients} students, one change in {PAUSE:g} s", students)
        print(
            f"memory of server and workers: {before:.0f} MB before, {half:.0f} MB half way, {memory_mb(server.pid):.0f} MB after"
        )
    finally:
        server.terminate()
        server.wait(30)


if __name__ == "__main__":
    main()
