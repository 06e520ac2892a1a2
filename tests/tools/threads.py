#!/usr/bin/env python3
"""Peak memory of a run, and how its work is spread over its threads.

    taskset -c 0,1 python3 tests/tools/threads.py PROGRAM score TAKES --line LINE --csv t.csv

Linux alone: the kernel says in /proc/PID/task/*/schedstat how long each thread ran and how long it
waited for a core, so that the spread can be told on a machine that others use, too. Read every
20 ms: of each thread the last 20 ms may be missing.
"""

import glob
import resource
import subprocess
import sys
import time

since = time.time()
run = subprocess.Popen(sys.argv[1:], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
threads = {}
while run.poll() is None:
    for path in glob.glob(f"/proc/{run.pid}/task/*/schedstat"):
        try:
            with open(path, encoding="ascii") as file:
                ran, waited, _ = (int(word) / 1e9 for word in file.read().split())
        except (OSError, ValueError):
            continue  # The thread has just gone.
        threads[path.split("/")[4]] = (ran, waited)
    time.sleep(0.02)
wall = time.time() - since
for name, (ran, waited) in sorted(threads.items()):
    print(f"thread {name}: ran {ran:.2f} s, waited for a core {waited:.2f} s")
work = sum(ran for ran, _ in threads.values())
busiest = max((ran for ran, _ in threads.values()), default=0.0)
peak_kb = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
print(f"exit {run.returncode}, wall {wall:.2f} s, work {work:.2f} s, busiest thread {busiest:.2f} s, "
      f"peak {peak_kb} kB")
