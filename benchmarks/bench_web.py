"""How long the workbench makes people wait: page, slider, eight tabs at once, memory after a thousand edits.

    python benchmarks/bench_web.py [--edits 1000]

Talks to a server in a process of its own over real connections, as a browser does. Limits: page ready within
0.5 s from a warm server, slider to new numbers 100 ms (95th percentile) on two cores, eight tabs at once
300 ms, memory after the edits within 10 %.
"""

from __future__ import annotations

import argparse
import http.client
import json
import os
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path
from statistics import median

EXAMPLE = "/b/~example"
WARM_UP = 2  # rounds in which eight builds are opened for the first time


class Client:
    """One kept connection, as one tab has."""

    def __init__(self, port: int) -> None:
        self.port = port
        self.line = http.client.HTTPConnection("127.0.0.1", port, timeout=60)

    def get(self, path: str) -> tuple[float, bytes]:
        return self._timed("GET", path, None)

    def post(self, path: str, body: object) -> tuple[float, bytes]:
        return self._timed("POST", path, json.dumps(body))

    def _timed(self, method: str, path: str, body: str | None) -> tuple[float, bytes]:
        headers = {
            "X-Workbench": "1",
            "Origin": f"http://127.0.0.1:{self.port}",
            "Content-Type": "application/json",
        }
        start = time.perf_counter()
        self.line.request(method, path, body, headers)
        answer = self.line.getresponse()
        content = answer.read()
        took = time.perf_counter() - start
        if answer.status != 200:
            raise SystemExit(f"{method} {path}: {answer.status} {content[:300]!r}")
        return took, content


def percentile(times: list[float], share: float) -> float:
    return sorted(times)[min(int(share * len(times)), len(times) - 1)]


def resident_mb(pid: int) -> float:
    for row in Path(f"/proc/{pid}/status").read_text().splitlines():
        if row.startswith("VmRSS:"):
            return int(row.split()[1]) / 1024.0
    raise SystemExit("no resident size")


def at_once(port: int, tabs: int, rounds: int) -> list[float]:
    """Times of slider moves when every tab moves at the same moment."""
    times: list[float] = []
    gate = threading.Barrier(tabs)

    def tab(index: int) -> None:
        client = Client(port)
        client.get(f"{EXAMPLE}/now?emf=12")
        for i in range(rounds):
            gate.wait()
            took, _ = client.get(f"{EXAMPLE}/now?emf={11.5 + 0.03 * ((i * tabs + index) % 100):.2f}")
            times.append(took)

    threads = [threading.Thread(target=tab, args=(i,)) for i in range(tabs)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return times


def processor_s(pid: int) -> float:
    """Processor time of the server and of the helpers that it started, s."""
    total = 0.0
    pids = [pid]
    while pids:
        one = pids.pop()
        try:
            fields = Path(f"/proc/{one}/stat").read_text().rpartition(")")[2].split()
            pids += [int(p) for p in Path(f"/proc/{one}/task/{one}/children").read_text().split()]
        except OSError:
            continue
        total += (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
    return total


def edits_at_once(port: int, builds: list[str], rounds: int) -> list[float]:
    """Times of edits when every tab edits its own build at the same moment."""
    times: list[float] = []
    gate = threading.Barrier(len(builds))

    def tab(index: int) -> None:
        client = Client(port)
        base = f"/b/{builds[index]}"
        seen = json.loads(client.get(f"{base}/revision")[1])["revision"]
        for i in range(rounds):
            body = {"key": "filter.corner", "value": f"{80 + (7 * i + index) % 31} Hz", "revision": seen}
            gate.wait()
            took, told = client.post(f"{base}/set", body)
            seen = json.loads(told)["revision"]
            if i >= WARM_UP:
                times.append(took)

    threads = [threading.Thread(target=tab, args=(i,)) for i in range(len(builds))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return times


def copies(client: Client, count: int) -> list[str]:
    """Builds of one's own, from the example."""
    made = [json.loads(client.post(f"{EXAMPLE}/duplicate", {"title": f"Tab {i}"})[1]) for i in range(count)]
    return [str(row["name"]) for row in made]


def edits(client: Client, pid: int, count: int) -> tuple[list[float], float, float]:
    """Times of ``count`` edits, and the resident size after the first tenth and at the end, MB."""
    times: list[float] = []
    early = 0.0
    for i in range(count):
        seen = json.loads(client.get(f"{EXAMPLE}/revision")[1])["revision"]
        value = f"{80 + (7 * i) % 31} Hz"
        took, _ = client.post(f"{EXAMPLE}/set", {"key": "filter.corner", "value": value, "revision": seen})
        times.append(took)
        if i == max(count // 10, 20):
            early = resident_mb(pid)
    return times, early, resident_mb(pid)


def main() -> None:
    options = argparse.ArgumentParser()
    options.add_argument("--edits", type=int, default=1000)
    options.add_argument("--rounds", type=int, default=12, help="of edits in eight tabs at once")
    wanted = options.parse_args()
    with tempfile.TemporaryDirectory(prefix="bench-web-") as folder:
        command = [sys.executable, "-m", "subwright", "serve", folder, "--no-browser"]
        server = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
        try:
            assert server.stdout is not None
            port = int(server.stdout.readline().strip().rstrip("/").rpartition(":")[2])
            client = Client(port)
            cold, _ = client.get(EXAMPLE)
            page = [client.get(EXAMPLE)[0] for _ in range(20)]
            slide = [client.get(f"{EXAMPLE}/now?emf={11 + 0.02 * i:.2f}")[0] for i in range(200)]
            tabs = at_once(port, 8, 25)
            builds = copies(client, 8)
            busy = processor_s(server.pid)
            together = edits_at_once(port, builds, wanted.rounds + WARM_UP)
            busy = (processor_s(server.pid) - busy) / (len(builds) * (wanted.rounds + WARM_UP))
            spent = processor_s(server.pid)
            client = Client(port)  # the old line was idle for too long
            changed, early, late = edits(client, server.pid, wanted.edits)
            spent = (processor_s(server.pid) - spent) / wanted.edits
        finally:
            server.kill()
            server.wait()
    print(f"cores, load                 {os.cpu_count()}, {os.getloadavg()[0]:.1f}")
    print(f"page, first of the process  {1e3 * cold:7.1f} ms")
    print(f"page, warm, median          {1e3 * median(page):7.1f} ms   limit 500")
    print(f"slider, median              {1e3 * median(slide):7.1f} ms")
    print(f"slider, 95 %                {1e3 * percentile(slide, 0.95):7.1f} ms   limit 100")
    print(f"8 tabs sliding, 95 %        {1e3 * percentile(tabs, 0.95):7.1f} ms   limit 300")
    print(f"8 tabs editing, median      {1e3 * median(together):7.1f} ms")
    print(f"8 tabs editing, 95 %        {1e3 * percentile(together, 0.95):7.1f} ms   limit 300")
    print(f"  processor time an edit    {1e3 * busy:7.1f} ms")
    grown = 100.0 * (late / early - 1.0)
    print(f"edit, median                {1e3 * median(changed):7.1f} ms")
    print(f"edit, 95 %                  {1e3 * percentile(changed, 0.95):7.1f} ms")
    print(f"  processor time an edit    {1e3 * spent:7.1f} ms")
    print(f"memory, early               {early:7.1f} MB")
    print(f"memory, {wanted.edits:5d} edits        {late:7.1f} MB   {grown:+.1f} %, limit 10 %")


if __name__ == "__main__":
    main()
