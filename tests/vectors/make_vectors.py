"""Makes orientation.json: orientations by libraries that are not this project's.

    python3 -m venv /tmp/vectors && /tmp/vectors/bin/pip install -r requirements.txt
    /tmp/vectors/bin/python make_vectors.py > orientation.json

The file is written once and kept; run this again only to change what is in it.
"""

import json
import platform

import ahrs
import numpy as np
import scipy
from scipy.integrate import solve_ivp
from scipy.signal import butter, freqz
from scipy.spatial.transform import Rotation

rng = np.random.default_rng(20261125)


def digits(values, n):
    return np.round(np.asarray(values, float), n).tolist()


def wxyz(rotation):
    x, y, z, w = rotation.as_quat()
    return digits([w, x, y, z], 10)


def euler():
    """Random rotations and their intrinsic Y-X-Z angles (capital letters: intrinsic)."""
    rows = []
    for rotation in Rotation.random(60, rng=rng):
        rows.append({
            "wxyz": wxyz(rotation),
            "matrix": digits(rotation.as_matrix(), 10),
            "yxz_deg": digits(rotation.as_euler("YXZ", degrees=True), 8),
        })
    return rows


def smooth_rates(scale_dps, seconds, terms=5):
    """Body rates as sums of sines, rad/s."""
    size = np.radians(scale_dps) * rng.uniform(0.3, 1.0, (3, terms)) / np.sqrt(terms)
    hz = rng.uniform(0.2, 2.5, (3, terms))
    phase = rng.uniform(0, 2 * np.pi, (3, terms))

    def rate(t):
        return (size * np.sin(2 * np.pi * hz * t + phase)).sum(axis=1)

    return rate


def follow(rate, times):
    """Orientations at `times` as the product of 20 us steps of scipy Rotations, checked
    against the quaternion equation solved by scipy's DOP853."""
    step = 2e-5
    out = [Rotation.identity()]
    for t0, t1 in zip(times[:-1], times[1:]):
        n = max(1, round((t1 - t0) / step))
        h = (t1 - t0) / n
        mid = t0 + h * (np.arange(n) + 0.5)
        steps = Rotation.from_rotvec(np.array([rate(t) for t in mid]) * h)
        whole = steps[0]
        for s in steps[1:]:
            whole = whole * s
        out.append(out[-1] * whole)

    def derivative(t, q):
        x, y, z, w = q
        a, b, c = rate(t)
        return 0.5 * np.array([w * a + y * c - z * b, w * b + z * a - x * c, w * c + x * b - y * a,
                               -x * a - y * b - z * c])

    solved = solve_ivp(derivative, (times[0], times[-1]), [0, 0, 0, 1], "DOP853", rtol=1e-11, atol=1e-12)
    apart = (out[-1].inv() * Rotation.from_quat(solved.y[:, -1])).magnitude()
    assert np.degrees(apart) < 1e-4, np.degrees(apart)
    return out


def integration():
    """One and a half seconds at 208 Hz, the pace of a swing."""
    hz, seconds = 208.0, 1.5
    rate = smooth_rates(700.0, seconds)
    times = np.arange(int(seconds * hz) + 1) / hz
    path = follow(rate, times)
    return {
        "rate_hz": hz,
        "gyro_rad_s": digits([rate(t) for t in times], 7),
        "every": 26,
        "wxyz": [wxyz(r) for r in path[::26]],
    }


def madgwick():
    """A wandering sensor through the IMU update of the AHRS package's Madgwick filter."""
    hz, seconds, beta = 50.0, 20.0, 0.033
    rate = smooth_rates(90.0, seconds)
    times = np.arange(int(seconds * hz)) / hz
    path = follow(rate, times)
    start = Rotation.from_euler("ZYX", [40, -25, 70], degrees=True)
    gyro = digits([rate(t) + np.radians(rng.normal(0, 0.3, 3)) for t in times], 6)
    up = [(start * r).inv().apply([0, 0, 9.80665]) for r in path]
    acc = digits([u + rng.normal(0, 0.3, 3) for u in up], 5)
    # The shortest turn of the first reading onto the vertical.
    a = np.array(acc[0]) / np.linalg.norm(acc[0])
    axis = np.cross(a, [0, 0, 1])
    first = Rotation.from_rotvec(axis / np.linalg.norm(axis) * np.arccos(a[2]))
    x, y, z, w = first.as_quat()
    q = np.array([w, x, y, z])
    library = ahrs.filters.Madgwick(gain=beta, Dt=1 / hz)
    out = [q]
    for g, f in zip(gyro[1:], acc[1:]):
        q = library.updateIMU(q, np.array(g), np.array(f), dt=1 / hz)
        out.append(q)
    return {
        "rate_hz": hz,
        "beta_rad_s": beta,
        "gyro_rad_s": gyro,
        "acc_m_s2": acc,
        "every": 25,
        "wxyz_z_up": digits(out[::25], 9),
    }


def butterworth():
    """Textbook coefficients, and how far a double pass moves the -3 dB point."""
    rows = []
    for cut, hz in [(10.0, 100.0), (12.0, 200.0)]:
        b, a = butter(2, cut, fs=hz)
        rows.append({"cut_hz": cut, "rate_hz": hz, "b": digits(b, 6), "a": digits(a, 6)})
    # Of the analogue prototype, where the ratio does not depend on the rate.
    b, a = butter(2, 1.0, fs=10000.0)
    f = np.linspace(0.7, 0.9, 200001)
    _, h = freqz(b, a, worN=f, fs=10000.0)
    both = f[np.argmin(np.abs(np.abs(h) ** 2 - np.sqrt(0.5)))]
    return {"filters": rows, "double_pass_minus_3_db": digits([both], 6)[0]}


print(json.dumps({
    "made_by": {
        "python": platform.python_version(),
        "numpy": np.__version__,
        "scipy": scipy.__version__,
        "AHRS": ahrs.__version__ if hasattr(ahrs, "__version__") else "0.4.0",
    },
    "euler": euler(),
    "integration": integration(),
    "madgwick": madgwick(),
    "butterworth": butterworth(),
}))
