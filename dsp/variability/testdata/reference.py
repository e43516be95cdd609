#!/usr/bin/env python3
"""Reference values for the measures, by numpy and scipy: writes reference.json.

Marks: N normal, E ectopic, U unsure, G gap. Written against the definitions of the
Task Force (1996), each by another way than the package's: SD1 and SD2 from rotated
coordinates, TINN over all pairs of feet, powers by a matrix of exponentials and,
as second opinions, by scipy's Lomb–Scargle periodogram and by a cubic spline at 4 Hz
with scipy's welch.
"""
import json
import numpy as np
import scipy
from scipy import interpolate, signal

VLF, LF, HF = (1 / 300, 0.04), (0.04, 0.15), (0.15, 0.4)


def series(n, mean, parts, noise, seed, marks=0.0):
    """Intervals that follow sines of time: parts are (hertz, amplitude)."""
    rng = np.random.default_rng(seed)
    t, rr = 0.0, []
    for _ in range(n):
        x = mean + noise * rng.standard_normal()
        for f, a in parts:
            x += a * np.sin(2 * np.pi * f * t + f)
        rr.append(round(float(x), 6))
        t += x
    kind = rng.choice(list("NEU"), size=n, p=[1 - marks, marks * 0.7, marks * 0.3])
    return rr, "".join(kind)


def bands(t, x):
    """Powers of one segment's points."""
    n = len(t)
    t = t - t[0]
    mean = t[-1] / (n - 1)
    seconds = mean * n
    x = x - np.polyval(np.polyfit(t, x, 1), t)
    w = 0.5 - 0.5 * np.cos(2 * np.pi * (t + mean / 2) / seconds)
    step = 1 / (2 * seconds)
    f = np.arange(1, int(0.4 / step) + 2) * step
    direct = np.abs(np.exp(-2j * np.pi * np.outer(f, t)) @ (w * x)) ** 2
    lomb = signal.lombscargle(t, w * x, 2 * np.pi * f) * n  # |X|²/N times N
    out = []
    for p in (direct, lomb):
        d = 2 * mean * p / np.sum(w**2)
        for lo, hi in (VLF, LF, HF):
            width = np.clip(np.minimum(hi, f + step / 2) - np.maximum(lo, f - step / 2), 0, None)
            out.append(float(np.sum(d * width)))
    return out


def spline(t, x):
    """The same by resampling, for normal intervals without holes."""
    at = np.arange(t[0], t[-1], 0.25)
    y = interpolate.CubicSpline(t, x)(at)
    f, d = signal.welch(y, 4, "hann", len(y), 0, detrend="linear")
    step = f[1]
    return [float(np.sum(d * np.clip(np.minimum(hi, f + step / 2) - np.maximum(lo, f - step / 2), 0, None))) for lo, hi in (LF, HF)]


def tinn(x):
    k = np.floor(x * 128).astype(int)
    h = np.bincount(k, minlength=385).astype(float)
    top = int(np.argmax(h))
    best, feet = np.inf, None
    axis = np.arange(385)
    for n in range(0, top):
        left = np.interp(axis, [n, top], [0, h[top]], left=0, right=0)
        if np.sum((h[:top] - left[:top]) ** 2) > best:
            continue
        for m in range(top + 1, min(385, top + 150)):
            q = np.interp(axis, [n, top, m], [0, h[top], 0], left=0, right=0)
            d = np.sum((h - q) ** 2)
            if d < best:
                best, feet = d, (n, m)
    return (feet[1] - feet[0]) / 128, len(x) / h.max()


def measures(rr, marks, geometry):
    rr = np.array(rr)
    ok = np.array([m == "N" for m in marks])
    x = rr[ok]
    both = ok[1:] & ok[:-1]
    a, b = rr[:-1][both], rr[1:][both]
    out = {
        "meanNN": x.mean(), "meanRate": 60 / x.mean(), "sdnn": x.std(ddof=1),
        "rmssd": np.sqrt(np.mean((b - a) ** 2)), "pnn50": 100 * np.mean(np.abs(b - a) > 0.05),
        "sd1": np.sqrt(np.mean(((b - a) / np.sqrt(2)) ** 2)), "sd2": ((b + a) / np.sqrt(2)).std(ddof=1),
    }
    at = np.cumsum(rr)
    powers, means, sds = [], [], []
    segments = int(at[-1] // 300)
    start = 0
    for k in range(segments):
        end = int(np.searchsorted(at, 300 * (k + 1) - 1e-9)) + 1  # the interval that crosses belongs here
        sel = ok[start:end]
        powers.append(bands(at[start:end][sel], rr[start:end][sel]))
        means.append(rr[start:end][sel].mean())
        sds.append(rr[start:end][sel].std(ddof=1))
        start = end
    if powers:
        p = np.mean(powers, axis=0)
        out.update(vlf=p[0], lf=p[1], hf=p[2], lfhf=p[1] / p[2], lombLF=p[4], lombHF=p[5])
    if at[-1] >= 3600:
        out.update(sdann=np.std(means, ddof=1), sdnnIndex=np.mean(sds))
    if geometry:
        out["tinn"], out["triangular"] = tinn(x)
    out = {k: float(v) for k, v in out.items()}
    if segments == 1 and ok.all():
        out["splineLF"], out["splineHF"] = spline(at[:start], rr[:start])
    return out


cases = []
for name, args, geometry in [
    ("rest, five minutes", (365, 0.85, [(0.1, 0.025), (0.25, 0.03)], 0.008, 1), False),
    ("slow sway and breath", (420, 0.72, [(0.02, 0.03), (0.09, 0.02), (0.3, 0.012)], 0.004, 2), False),
    ("with beats left out", (370, 0.84, [(0.1, 0.03), (0.22, 0.02)], 0.006, 3, 0.06), False),
    ("twenty-five minutes", (1900, 0.8, [(0.001, 0.05), (0.1, 0.03), (0.25, 0.03)], 0.015, 4, 0.02), True),
    ("seventy minutes", (4700, 0.9, [(0.0004, 0.06), (0.1, 0.03), (0.2, 0.02)], 0.01, 5, 0.03), True),
]:
    rr, marks = series(*args)
    cases.append({"name": name, "seconds": rr, "marks": marks, "want": measures(rr, marks, geometry)})
with open(__file__.replace("reference.py", "reference.json"), "w") as f:
    json.dump({"made with": f"numpy {np.__version__}, scipy {scipy.__version__}", "cases": cases}, f)
