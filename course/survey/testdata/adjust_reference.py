"""Reference for the adjustment, by another way: generalised least squares on whitened observations with
scipy.optimize.least_squares, and Baarda's tests from the full residual covariance, in place of condition
equations. Made with Python 3.11.2, numpy 1.24.2, scipy 1.10.1:

    python3 adjust_reference.py > adjust_reference.json

Six marks of an invented course, places of a receiver with covariance s^2 (0.8 exp(-dt/60 s) + 0.2 [i = j]),
eleven tapes, four of them to the middle of marks 4 and 5 (counted from 0), number 5 misread by 1.5 m.
"""
import json
import sys

import numpy as np
import scipy
from scipy.linalg import cholesky, solve_triangular
from scipy.optimize import least_squares

at = np.array([[0.3, -0.8], [1.9, 21.2], [23.7, 30.1], [41.5, 17.3], [33.0, -6.4], [36.9, -7.1]])
time = np.array([0.0, 40.0, 75.0, 118.0, 160.0, 169.0])
sd = 1.5
n = len(at)
k = sd**2 * 0.8 * np.exp(-np.abs(time[:, None] - time[None, :]) / 60.0)
np.fill_diagonal(k, sd**2)
c = np.kron(k, np.eye(2))
# from weights, to weights, error of the tape, sd; the distances come from places that the receiver errs about
true = np.array([[0.0, 0.0], [1.0, 22.0], [23.0, 31.0], [42.0, 16.0], [33.5, -6.0], [37.0, -6.2]])
wanted = [
    ({0: 1}, {1: 1}, 0.03, 0.08),
    ({1: 1}, {2: 1}, -0.06, 0.09),
    ({2: 1}, {3: 1}, 0.02, 0.08),
    ({3: 1}, {4: 0.5, 5: 0.5}, 0.05, 0.09),
    ({0: 1}, {4: 0.5, 5: 0.5}, -0.08, 0.12),
    ({0: 1}, {2: 1}, 1.5, 0.12),
    ({1: 1}, {3: 1}, -0.04, 0.13),
    ({0: 1}, {3: 1}, 0.1, 0.14),
    ({1: 1}, {4: 0.5, 5: 0.5}, 0.07, 0.13),
    ({2: 1}, {4: 0.5, 5: 0.5}, -0.09, 0.13),
    ({4: 1}, {5: 1}, -0.02, 0.05),
]
ties = [
    (a, b, round(float(np.linalg.norm(sum(w * true[i] for i, w in b.items()) - sum(w * true[i] for i, w in a.items()))) + e, 2), s)
    for a, b, e, s in wanted
]


def station(x, s):
    return sum(w * x[i] for i, w in s.items())


def adjust(ties):
    l = cholesky(c, lower=True)

    def f(v):
        x = v.reshape(-1, 2)
        r = solve_triangular(l, (x - at).ravel(), lower=True)
        t = [(np.linalg.norm(station(x, b) - station(x, a)) - d) / s for a, b, d, s in ties]
        return np.concatenate([r, t])

    res = least_squares(f, at.ravel(), xtol=1e-15, ftol=1e-15, gtol=1e-15, jac="3-point", method="trf")
    x = res.x.reshape(-1, 2)
    # the full model: observations are all coordinates and all ties, with covariance q
    a = np.zeros((2 * n + len(ties), 2 * n))
    a[: 2 * n] = np.eye(2 * n)
    for r, (fr, to, d, s) in enumerate(ties):
        u = station(x, to) - station(x, fr)
        u = u / np.linalg.norm(u)
        for i, w in to.items():
            a[2 * n + r, 2 * i : 2 * i + 2] += w * u
        for i, w in fr.items():
            a[2 * n + r, 2 * i : 2 * i + 2] -= w * u
    q = np.zeros((len(a), len(a)))
    q[: 2 * n, : 2 * n] = c
    for r, t in enumerate(ties):
        q[2 * n + r, 2 * n + r] = t[3] ** 2
    p = np.linalg.inv(q)
    cov = np.linalg.inv(a.T @ p @ a)
    v = np.concatenate([(at - x).ravel(), [d - np.linalg.norm(station(x, b) - station(x, a_)) for a_, b, d, s in ties]])
    qv = q - a @ cov @ a.T
    pv, pqp = p @ v, p @ qv @ p
    w = [pv[2 * n + r] / np.sqrt(pqp[2 * n + r, 2 * n + r]) for r in range(len(ties))]
    red = [(qv @ p)[2 * n + r, 2 * n + r] for r in range(len(ties))]
    t = []
    for j in range(n):
        b = pqp[2 * j : 2 * j + 2, 2 * j : 2 * j + 2]
        t.append(float(pv[2 * j : 2 * j + 2] @ np.linalg.pinv(b, rcond=1e-9) @ pv[2 * j : 2 * j + 2]))
    return {
        "at": x.tolist(),
        "cov": cov.tolist(),
        "residual": (-v[2 * n :]).tolist(),
        "w": [float(u) for u in w],
        "redundancy": [float(u) for u in red],
        "t": t,
        "chi2": float(2 * res.cost),
    }


json.dump(
    {
        "python": sys.version.split()[0],
        "numpy": np.__version__,
        "scipy": scipy.__version__,
        "receiver": at.tolist(),
        "time": time.tolist(),
        "sd": sd,
        "ties": [
            {"from": [[int(i), w] for i, w in a.items()], "to": [[int(i), w] for i, w in b.items()], "m": d, "sd": s}
            for a, b, d, s in ties
        ],
        "all": adjust(ties),
        "without_5": adjust(ties[:5] + ties[6:]),
    },
    sys.stdout,
    indent=1,
)
