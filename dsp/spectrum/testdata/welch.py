"""Reference densities for the test of package spectrum.

Run: python3 welch.py > welch.json   (scipy 1.10.1, numpy 1.24.2)
The input is a closed form, so that the Go test makes it by itself:
x[i] = 0.3 + 0.002 i/fs + sin(2 pi 7.3 i/fs) + 0.2 cos(2 pi 50 i/fs + 1) + 0.1 u[i], where u is the
64-bit linear congruential generator s = s*6364136223846793005 + 1442695040888963407,
s0 = 1, u = (s >> 11) / 2**53 - 0.5.
"""
import json, math, sys
import numpy as np, scipy
from scipy import signal

def noise(n):
    s, out = 1, []
    for _ in range(n):
        s = (s * 6364136223846793005 + 1442695040888963407) & (2**64 - 1)
        out.append((s >> 11) / 2.0**53 - 0.5)
    return np.array(out)

def sig(fs, n):
    i = np.arange(n)
    return 0.3 + 0.002*i/fs + np.sin(2*np.pi*7.3*i/fs) + 0.2*np.cos(2*np.pi*50*i/fs + 1) + 0.1*noise(n)

cases = []
for fs, n, seg, lap, win, det in [
    (250, 1000, 128, 64, "hann", "constant"),
    (250, 1000, 128, 0, "hann", "none"),
    (360, 700, 125, 62, "hamming", "linear"),
    (1000, 2000, 250, 200, "blackman", "constant"),
    (500, 900, 200, 100, "flattop", "linear"),
    (48000, 1024, 256, 128, "rectangular", "constant"),
]:
    f, p = signal.welch(sig(fs, n), fs, window="boxcar" if win == "rectangular" else win, nperseg=seg,
                        noverlap=lap, detrend=False if det == "none" else det, scaling="density")
    cases.append(dict(rateHz=fs, samples=n, segment=seg, overlap=lap, window=win, detrend=det,
                      df=f[1], density=[float("%.15g" % v) for v in p]))
json.dump(dict(scipy=scipy.__version__, numpy=np.__version__, cases=cases), sys.stdout)
