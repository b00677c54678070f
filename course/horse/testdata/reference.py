"""Reference values for the mixed model of the horse's record: python3 reference.py > reference.json

Everything is done the long way, with dense covariance matrices, a fine grid over tau and the incomplete
beta function, none of which the package uses. NumPy 1.24.2, SciPy 1.10.1.
"""
import json
import numpy as np
from scipy import optimize, stats


def within(rows, sigma):
    """Weighted scatter about each ride's level and x, and its degrees of freedom: least squares with a column a ride."""
    rides = sorted({r["ride"] for r in rows})
    w = np.array([1 / np.sqrt(sigma**2 + r["sd"] ** 2) for r in rows])
    cols = [[1.0 if r["ride"] == k else 0.0 for r in rows] for k in rides]
    x = [r["x"][1] for r in rows] if len(rows[0]["x"]) > 1 else None
    if x is not None and np.linalg.matrix_rank(np.array(cols + [x])) > len(cols):
        cols.append(x)
    a = np.array(cols).T * w[:, None]
    y = np.array([r["y"] for r in rows]) * w
    res = y - a @ np.linalg.lstsq(a, y, rcond=None)[0]
    return res @ res, len(rows) - a.shape[1]


def fit(rows, line_sd, worth, ride_sd, at):
    y = np.array([r["y"] for r in rows])
    x = np.array([r["x"] for r in rows])
    if line_sd > 0:
        df = worth + within(rows, line_sd)[1]
        f = lambda s: worth * line_sd**2 / s**2 + within(rows, s)[0] - df
        sigma = optimize.brentq(f, line_sd * 1e-3, line_sd * 1e3)
        scale = ride_sd or max(sigma, line_sd / 2)
    else:
        sigma, df, scale = 0.0, worth, ride_sd
    d = np.diag([sigma**2 + r["sd"] ** 2 for r in rows])
    same = np.array([[1.0 if a["ride"] == b["ride"] else 0.0 for b in rows] for a in rows])
    taus = (np.arange(6000) + 0.5) * 15 * scale / 6000
    logs, mids, sds, restricted = [], [], [], []
    for t in taus:
        v = d + t**2 * same
        vi = np.linalg.inv(v)
        xx = x.T @ vi @ x
        c = np.linalg.inv(xx)
        b = c @ (x.T @ vi @ y)
        r = y - x @ b
        like = -0.5 * (np.linalg.slogdet(v)[1] + np.linalg.slogdet(xx)[1] + r @ vi @ r)
        restricted.append(like)
        logs.append(like - 2 * np.log1p(t**2 / (3 * scale**2)))
        mids.append(float(np.array(at) @ b))
        sds.append(float(np.sqrt(np.array(at) @ c @ np.array(at))))
    w = np.exp(np.array(logs) - max(logs))
    w /= w.sum()
    mids, sds = np.array(mids), np.array(sds)

    def quantile(u, more):
        s = np.sqrt(sds**2 + more * taus**2)
        cdf = lambda q: float((w * stats.t.cdf((q - mids) / s, df)).sum()) - u
        span = 40 * s.max()
        return optimize.brentq(cdf, mids.min() - span, mids.max() + span)

    cum = np.cumsum(w)
    tau = lambda u: float(np.interp(u, cum, taus + taus[0]))
    return {
        "sigma": float(sigma), "df": float(df), "value": float(w @ mids), "low": quantile(0.05, 0), "high": quantile(0.95, 0),
        "next_low": quantile(0.05, 1), "next_high": quantile(0.95, 1),
        "tau": tau(0.5), "tau_low": tau(0.05), "tau_high": tau(0.95), "tau_reml": float(taus[int(np.argmax(restricted))]),
    }


def one(ride, y, sd):
    return {"ride": ride, "x": [1.0], "y": y, "sd": sd}


# Davies & Goldsmith (1972), yield of dyestuff from six batches, as in the documentation of lme4, whose REML has 1527.5, 42.00 between and
# 49.51 within.
dyestuff = [[1545, 1440, 1440, 1520, 1580], [1540, 1555, 1490, 1560, 1495], [1595, 1550, 1605, 1510, 1560],
            [1445, 1440, 1595, 1465, 1545], [1595, 1630, 1515, 1635, 1625], [1520, 1455, 1450, 1480, 1445]]
# Colditz et al. (1994), 13 trials of a vaccine, log relative risks as in the documentation of metafor, whose REML has -0.7145 and a
# variance of 0.3132 between.
bcg = [(-0.8893, 0.3256), (-1.5854, 0.1946), (-1.3481, 0.4154), (-1.4416, 0.0200), (-0.2175, 0.0512), (-0.7861, 0.0069), (-1.6209, 0.2230),
       (0.0120, 0.0040), (-0.4694, 0.0564), (-1.3713, 0.0730), (-0.3394, 0.0124), (0.4459, 0.5325), (-0.0173, 0.0714)]

rng = np.random.default_rng(20)
pace, dates = [], []
for k in range(7):
    b, day = 0.1 * rng.standard_normal(), float(3 * k * k)
    for _ in range(1 + int(rng.integers(0, 6))):
        v, sd = 0.4 * rng.standard_normal(), float(0.02 + 0.08 * rng.random())
        y = 3.4 + 0.5 * v + b + 0.05 * rng.standard_normal() + sd * rng.standard_normal()
        pace.append({"ride": k, "x": [1.0, float(round(v, 3))], "y": float(round(y, 3)), "sd": round(sd, 3)})
        dates.append({"ride": k, "x": [1.0, day / 30], "y": float(round(y - 0.5 * v, 3)), "sd": round(sd, 3)})

cases = [
    ("dyestuff", [one(k, float(y), 0.0) for k, b in enumerate(dyestuff) for y in b], 50.0, 0.001, 200.0, [1.0]),
    ("bcg", [one(k, y, round(v**0.5, 6)) for k, (y, v) in enumerate(bcg)], 0.0, 100.0, 1.0, [1.0]),
    ("stride at a pace", pace, 0.09, 3.0, 0.0, [1.0, 0.3]),
    ("slope over the pace", pace, 0.09, 3.0, 0.0, [0.0, 1.0]),
    ("trend over dates", dates, 0.17, 3.0, 0.0, [0.0, 1.0]),
    ("one ride", [one(0, y, 0.05) for y in (3.31, 3.42, 3.38)], 0.17, 3.0, 0.0, [1.0]),
    ("two rides", [one(0, 3.31, 0.05), one(0, 3.42, 0.06), one(1, 3.6, 0.1)], 0.17, 3.0, 0.0, [1.0]),
]
out = []
for name, rows, line_sd, worth, ride_sd, at in cases:
    out.append({"name": name, "rows": rows, "line_sd": line_sd, "worth": worth, "ride_sd": ride_sd, "at": at, "want": fit(rows, line_sd, worth, ride_sd, at)})
print(json.dumps(out, indent=1))
