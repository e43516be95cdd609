#!/usr/bin/env python3
"""Reference vectors for dsp/filter, made by scipy.

    /usr/bin/python3 reference.py > reference.json

The versions used are written into the file. Long doubles (80 bit) are used for
corners far below the rate, where scipy's own double sections lose digits.
"""
import json
import sys

import numpy as np
import scipy
from scipy import signal


def noise(n):
    """Uniform -0.5..0.5 by the minimal standard generator (Park and Miller 1988) of seed 1; the test makes the same."""
    s, out = 1, []
    for _ in range(n):
        s = s * 16807 % 2147483647
        out.append(s / 2147483647 - 0.5)
    return np.array(out)


def sos(d):
    fs, f = d["rateHz"], d["freqHz"]
    if d["kind"] in ("lowpass", "highpass"):
        return signal.butter(d["order"], f, d["kind"], fs=fs, output="sos")
    rows = []
    for h in range(1, d["order"] + 1):
        if h * f < fs / 2:
            b, a = signal.iirnotch(h * f, h * f / d["bandwidthHz"], fs=fs)
            rows.append(np.r_[b, a])
    return np.array(rows)


designs = []
for order in range(1, 9):
    for kind in ("lowpass", "highpass"):
        for fs, f in ((25, 0.5), (25, 12), (250, 40), (1000, 0.5), (1002.2727272727273, 15), (48000, 1000), (192000, 90000)):
            designs.append(dict(kind=kind, rateHz=fs, freqHz=f, order=order, bandwidthHz=0))
for fs, f, n, bw in ((250, 50, 1, 5), (1000, 50, 5, 10), (1000, 60, 8, 1.6666666666666667), (500, 60, 6, 2), (192000, 50, 3, 5)):
    designs.append(dict(kind="notch", rateHz=fs, freqHz=f, order=n, bandwidthHz=bw))
for d in designs:
    fs, f = d["rateHz"], d["freqHz"]
    at = [x for x in (0, f / 8, f / 2, 0.9 * f, 1.1 * f, 2 * f, 5 * f, 0.49 * fs) if x < fs / 2]
    _, h = signal.sosfreqz(sos(d), worN=at, fs=fs) if hasattr(signal, "sosfreqz") else signal.freqz_sos(sos(d), worN=at, fs=fs)
    d["atHz"], d["re"], d["im"] = at, list(h.real), list(h.imag)

x = 2.5 + noise(400)
runs = []
for d in (
    dict(kind="lowpass", rateHz=1000, freqHz=40, order=8),
    dict(kind="lowpass", rateHz=1000, freqHz=40, order=5),
    dict(kind="lowpass", rateHz=250, freqHz=40, order=2),
    dict(kind="lowpass", rateHz=250, freqHz=15, order=1),
    dict(kind="highpass", rateHz=250, freqHz=0.5, order=1),
    dict(kind="highpass", rateHz=250, freqHz=0.5, order=2),
    dict(kind="highpass", rateHz=250, freqHz=5, order=7),
    dict(kind="notch", rateHz=250, freqHz=50, order=1, bandwidthHz=5),
    dict(kind="notch", rateHz=1000, freqHz=50, order=6, bandwidthHz=10),
):
    s = sos(d)
    y, _ = signal.sosfilt(s, x, zi=signal.sosfilt_zi(s) * x[0])
    # The pad of dsp/filter: seven time constants of the slowest pole.
    r = max(abs(np.roots(row[3:])).max() for row in s)
    pad = int(min(np.ceil(-7 / np.log(r)), len(x) - 1))
    d["output"] = list(y)
    d["pad"] = pad
    d["zeroPhase"] = list(signal.sosfiltfilt(s, x, padlen=pad))
    runs.append(d)

L = np.longdouble
xl = (2.5 + noise(192000)).astype(L)
fine = []
pi = L("3.14159265358979323846264338327950288")
for kind in ("lowpass", "highpass"):
    for order in (1, 2, 4):
        k = np.tan(pi * L("0.05") / L(192000))
        rows = []
        for i in range(order // 2):
            q = 1 / (2 * np.sin(pi * (2 * i + 1) / (2 * L(order))))
            dd = 1 + k / q + k * k
            b = [k * k / dd, 2 * k * k / dd, k * k / dd] if kind == "lowpass" else [1 / dd, -2 / dd, 1 / dd]
            rows.append(b + [L(1), 2 * (k * k - 1) / dd, (1 - k / q + k * k) / dd])
        if order % 2:
            b = [k / (1 + k), k / (1 + k), L(0)] if kind == "lowpass" else [1 / (1 + k), -1 / (1 + k), L(0)]
            rows.append(b + [L(1), (k - 1) / (k + 1), L(0)])
        # A start from rest at the first sample's level: filter x - x0 from zero state.
        y = signal.sosfilt(np.array(rows, dtype=L), xl - xl[0])
        if kind == "lowpass":
            y = y + xl[0]
        fine.append(dict(kind=kind, rateHz=192000, freqHz=0.05, order=order, every=9600, output=[float(v) for v in y[9599::9600]]))

decimators = []
for ratio in (2, 5, 44, 192):
    m = 28 * ratio
    taps = signal.firwin(2 * m + 1, 0.9 / ratio, window=("kaiser", 0.1102 * (85 - 8.7)))
    decimators.append(dict(ratio=ratio, firstTaps=list(taps[: m + 1 : max(1, m // 50)]), every=max(1, m // 50)))

json.dump(
    dict(made_by="reference.py", scipy=scipy.__version__, numpy=np.__version__, python=sys.version.split()[0],
         designs=designs, runs=runs, fine=fine, decimators=decimators),
    sys.stdout, indent=None, separators=(",", ":"))
print()
