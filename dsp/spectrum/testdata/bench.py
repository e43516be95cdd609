"""Prints the least time, in seconds, of so many calls of scipy.signal.welch on ten
minutes at 1 kHz: Hann, 4096 samples a segment, half overlapped, mean taken away.

Run by BenchmarkWelchBesideScipy: python3 bench.py TURNS
"""
import sys
import time

import numpy as np
from scipy import signal

x = 2.5 + np.random.default_rng(1).standard_normal(600_000)
best = 1e9
for _ in range(int(sys.argv[1])):
    start = time.perf_counter()
    signal.welch(x, 1000, window="hann", nperseg=4096, noverlap=2048, detrend="constant", scaling="density")
    best = min(best, time.perf_counter() - start)
print("%.9f" % best)
