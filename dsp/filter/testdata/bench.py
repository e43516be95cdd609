#!/usr/bin/env python3
"""Times Cascade.Process against scipy.signal.sosfilt on one core, on the same data in
the same run, turn by turn; the best of all turns counts for each.

    /usr/bin/python3 bench.py > bench.txt

Data: 65536 samples of seeded noise on an offset (as in the package's tests), in one
call with a carried state; sections: those of the Butterworth low-pass of order 8,
40 Hz at 1000 Hz, repeated.
"""
import os
import platform
import re
import subprocess
import sys
import time

import numpy as np
import scipy
from scipy import signal

HERE = os.path.dirname(os.path.abspath(__file__))
TURNS = int(sys.argv[1]) if len(sys.argv) > 1 else 5
CORE = {max(os.sched_getaffinity(0))}
os.sched_setaffinity(0, CORE)  # inherited by the Go benchmark


def noise(n):
    s, out = 1, np.empty(n)
    for i in range(n):
        s = s * 16807 % 2147483647
        out[i] = s / 2147483647 - 0.5
    return out


x = 2.5 + noise(65536)
eight = signal.butter(8, 40, fs=1000, output="sos")
binary = "/tmp/filter-bench-%d.test" % os.getpid()
subprocess.run(["go", "test", "-c", "-o", binary, "."], cwd=os.path.dirname(HERE), check=True)
ours, theirs, small = {}, {}, {}
try:
    for _ in range(TURNS):
        for n in range(1, 9):
            sos = np.vstack([eight, eight])[:n]
            zi = signal.sosfilt_zi(sos) * x[0]
            end = time.perf_counter() + 0.1
            while time.perf_counter() < end:
                t = time.perf_counter()
                signal.sosfilt(sos, x, zi=zi)
                theirs[n] = min(theirs.get(n, 1e9), (time.perf_counter() - t) / len(x) * 1e9)
            out = subprocess.run([binary, "-test.run", "^$", "-test.bench", "Cascade/sections=%d$" % n, "-test.benchtime", "20ms", "-test.count", "8", "-test.cpu", "1"],
                                 cwd=os.path.dirname(HERE), check=True, capture_output=True, text=True).stdout
            for v in re.findall(r"([\d.]+) ns/sample", out):
                ours[n] = min(ours.get(n, 1e9), float(v))
finally:
    os.remove(binary)
go = subprocess.run(["go", "version"], capture_output=True, text=True).stdout.split()[2]
cpu = next((l.split(":")[1].strip() for l in open("/proc/cpuinfo") if l.startswith("model name")), platform.processor())
print("scipy %s, numpy %s, %s, %s, one core, best of %d turns" % (scipy.__version__, np.__version__, go, cpu, TURNS))
print("sections  scipy ns/sample  Cascade ns/sample  times as fast")
for n in sorted(ours):
    print("%8d  %15.2f  %17.2f  %13.2f" % (n, theirs[n], ours[n], theirs[n] / ours[n]))
