#!/usr/bin/python3
"""Makes butter.csv, zerophase.csv and hampel.csv: reference values for the filters.

Run in this directory with Debian's python3-scipy; the files' first line has the versions.
"""
import sys

import numpy as np
import scipy
from scipy import signal

HEAD = "# SciPy %s, NumPy %s, Python %d.%d\n" % (scipy.__version__, np.__version__, *sys.version_info[:2])
DESIGNS = [
    ("low", 1, (4.0,), 50.0),
    ("low", 2, (0.2,), 100.0),
    ("low", 3, (10.0,), 25.0),
    ("low", 4, (6.0,), 100.0),
    ("low", 8, (20.0,), 200.0),
    ("high", 1, (0.5,), 50.0),
    ("high", 2, (0.3,), 100.0),
    ("high", 5, (15.0,), 100.0),
    ("band", 1, (1.0, 3.0), 100.0),
    ("band", 2, (0.8, 4.0), 100.0),
    ("band", 3, (0.5, 20.0), 50.0),
    ("band", 4, (1.2, 2.4), 400.0),
]

with open("butter.csv", "w") as f:
    f.write(HEAD)
    f.write("kind,order,low_hz,high_hz,rate_hz,freq_hz,re,im\n")
    for kind, order, cuts, rate in DESIGNS:
        sos = signal.butter(order, cuts if kind == "band" else cuts[0], kind, fs=rate, output="sos")
        freqs = rate / 2 * np.array([1e-3, 0.01, 0.05, 0.1, 0.2, 0.35, 0.5, 0.8, 0.95])
        freqs = np.concatenate([freqs, cuts])
        _, h = signal.sosfreqz(sos, freqs, fs=rate)
        for q, v in zip(freqs, h):
            f.write("%s,%d,%r,%r,%r,%r,%r,%r\n" % (kind, order, cuts[0], cuts[-1], rate, float(q), v.real, v.imag))

with open("coefficients.csv", "w") as f:
    f.write(HEAD)
    f.write("kind,order,low_hz,high_hz,rate_hz,poly,power,coefficient\n")
    for kind, order, cuts, rate in DESIGNS:
        if order > 4:
            continue  # the expanded polynomials of high orders lose their digits
        b, a = signal.butter(order, cuts if kind == "band" else cuts[0], kind, fs=rate)
        for name, poly in (("b", b), ("a", a)):
            for k, c in enumerate(poly):
                f.write("%s,%d,%r,%r,%r,%s,%d,%r\n" % (kind, order, cuts[0], cuts[-1], rate, name, k, float(c)))

n = 300
t = np.arange(n) / 100.0
x = 9.81 + 3 * np.sin(2 * np.pi * 1.7 * t) + np.cos(2 * np.pi * 11 * t + 0.3) + 0.02 * t ** 2 + ((np.arange(n) * 7919) % 101) / 101.0
with open("zerophase.csv", "w") as f:
    f.write(HEAD)
    outs = []
    for kind, order, cuts, rate in DESIGNS:
        sos = signal.butter(order, cuts if kind == "band" else cuts[0], kind, fs=rate, output="sos")
        outs.append(signal.sosfiltfilt(sos, x))
    f.write("x," + ",".join("y%d" % i for i in range(len(outs))) + "\n")
    for i in range(n):
        f.write(",".join(repr(float(v)) for v in [x[i]] + [o[i] for o in outs]) + "\n")

y = np.round(np.sin(t[:120] * 3) + 0.1 * (((np.arange(120) * 7919) % 101) / 101.0 - 0.5), 6)
y[[5, 40, 41, 118]] += [3.0, -2.0, 2.5, 1.0]
with open("hampel.csv", "w") as f:
    f.write(HEAD)
    f.write("x,clean\n")
    for i in range(len(y)):
        w = y[max(0, i - 4):i + 5]
        m = np.median(w)
        mad = 1.482602218505602 * np.median(np.abs(w - m))
        f.write("%r,%r\n" % (float(y[i]), float(m if abs(y[i] - m) > 3 * mad else y[i])))
