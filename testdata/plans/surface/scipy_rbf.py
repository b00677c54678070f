"""Reference heights and gradients for the thin plate, by SciPy.

    python3 scipy_rbf.py > scipy_rbf.csv

Columns: case, what (spot | height), x, y, z, and for heights the gradient by central difference of
SciPy's own surface over 2 mm. Metres. The spots are invented.
"""
import numpy as np
import scipy
from scipy.interpolate import RBFInterpolator

print(f"# scipy {scipy.__version__}, RBFInterpolator(kernel='thin_plate_spline', degree=1, smoothing=0)")
print("case,what,x,y,z,dzdx,dzdy")
rng = np.random.default_rng(7)
cases = {
    "six": np.array([[0, 0, 0.0], [80, 0, 1.2], [80, 45, 1.5], [0, 45, 0.1], [40, 20, 1.1], [20, 40, 0.2]], float),
    "grid": np.array([[x, y, 0.02 * x - 0.01 * y + 0.4 * np.sin(x / 25) * np.cos(y / 18)] for x in (0, 25, 50, 75, 100) for y in (0, 20, 40, 60)]),
    "scattered": np.column_stack([rng.uniform(-50, 150, 30), rng.uniform(-20, 90, 30), rng.normal(0, 0.3, 30)]),
    "far": np.array([[3000 + x, -2000 + y, 100 + z] for x, y, z in [(0, 0, 0), (60, 5, 0.8), (55, 40, 1.9), (-5, 38, 0.7), (30, 18, 0.2), (12, 30, 0.9), (44, 25, 1.6)]], float),
}
for name, s in cases.items():
    f = RBFInterpolator(s[:, :2], s[:, 2], kernel="thin_plate_spline", degree=1, smoothing=0)
    for x, y, z in s:
        print(f"{name},spot,{x!r},{y!r},{z!r},,".replace("np.float64(", "").replace(")", ""))
    lo, hi = s[:, :2].min(0), s[:, :2].max(0)
    for u in np.linspace(-0.1, 1.1, 7):
        for v in np.linspace(-0.1, 1.1, 5):
            p = lo + (hi - lo) * np.array([u, v])
            h = 1e-3
            q = np.array([p, p + [h, 0], p - [h, 0], p + [0, h], p - [0, h]])
            z = f(q)
            print(f"{name},height,{p[0]:.12g},{p[1]:.12g},{z[0]:.12g},{(z[1]-z[2])/(2*h):.9g},{(z[3]-z[4])/(2*h):.9g}")
