#!/usr/bin/env python3
"""Plays a survey on the workers of a Dask cluster, part by part, and puts the parts together.

    with_dask.py PROGRAM SURVEY TO [--parts N] [--workers N] [--cluster ADDRESS] [--kill-one]

PROGRAM is bms-sim, which every worker must be able to start, on the same build; TO is the file of results, of which
`bms-sim survey SURVEY --results TO` makes the summary. Without --cluster as many worker processes are started here. A part
that is lost with its worker is played again by another one, and comes out the same. --kill-one kills a worker on the way, to show it.
"""

import argparse
import os
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from distributed import Client, LocalCluster, as_completed, get_worker


def play(program, survey, part, parts):
    """Plays one part in a folder of the worker's own, and gives its results."""
    with tempfile.TemporaryDirectory() as folder:
        results = Path(folder) / "part"
        line = [program, "survey", "-q", survey, "--shard", f"{part}/{parts}", "--threads", "1", "--results", str(results)]
        subprocess.run(line, check=True, stdin=subprocess.DEVNULL)
        return get_worker().address, results.read_bytes()


def main():
    asked = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    asked.add_argument("program")
    asked.add_argument("survey")
    asked.add_argument("to")
    asked.add_argument("--parts", type=int, default=8)
    asked.add_argument("--workers", type=int, default=os.cpu_count())
    asked.add_argument("--cluster")
    asked.add_argument("--kill-one", action="store_true")
    given = asked.parse_args()
    program, survey = str(Path(given.program).resolve()), str(Path(given.survey).resolve())

    here = None
    if not given.cluster:
        here = LocalCluster(n_workers=given.workers, threads_per_worker=1, processes=True, dashboard_address=None)
    with Client(given.cluster or here) as client, tempfile.TemporaryDirectory() as folder:
        parts = [
            client.submit(play, program, survey, part, given.parts, key=f"part-{part}", retries=3)
            for part in range(1, given.parts + 1)
        ]
        if given.kill_one:
            time.sleep(1)
            victim = next(iter(here.workers.values())).pid
            os.kill(victim, signal.SIGKILL)
            print(f"killed worker process {victim}", file=sys.stderr)
        workers = {}
        for done, part in enumerate(as_completed(parts), 1):
            worker, results = part.result()
            workers[worker] = workers.get(worker, 0) + 1
            (Path(folder) / part.key).write_bytes(results)
            print(f"{done} of {given.parts} parts, {part.key} by {worker}", file=sys.stderr)
        files = [str(Path(folder) / part.key) for part in parts]
        subprocess.run([program, "merge", *files, "--to", given.to, "--force"], check=True)
        print(f"{given.parts} parts by {len(workers)} workers")
    if here:
        here.close()


if __name__ == "__main__":
    main()
