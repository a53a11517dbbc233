"""Speed beside numpy, scipy and the compiled VQF filter, in one run on the same samples.

    python3 -m venv /tmp/speed && /tmp/speed/bin/pip install numpy==2.4.6 scipy==1.17.1 vqf==2.1.2
    /tmp/speed/bin/python daemon/benches/reference/compare_speed.py

Runs `cargo bench --bench reference`, which plays an hour of a virtual strap, writes its samples
and times our code; then does the like with the Python libraries: bias at rest (moving statistics,
numpy), orientation (the VQF authors' C++, whole recording in one call), zero-phase smoothing (scipy)
and peak search (scipy). Neither side decodes packets, but for the last row of ours. Processor time, best of five each.
Optional: nothing else in the project needs Python.
"""

import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from scipy.signal import butter, find_peaks, sosfiltfilt

import vqf

RATE_HZ = 208.0


def best(work):
    times = []
    for _ in range(5):
        start = time.process_time()
        result = work()
        times.append(time.process_time() - start)
    return min(times), result


def bias_at_rest(gyro, acc):
    """Mean rate of every still second (the thresholds of our settings), held until the next."""
    n = int(RATE_HZ)

    def moments(x):
        total = np.cumsum(np.vstack([np.zeros(3), x]), axis=0)
        square = np.cumsum(np.concatenate([[0.0], (x * x).sum(axis=1)]))
        mean = (total[n:] - total[:-n]) / n
        return mean, (square[n:] - square[:-n]) / n - (mean * mean).sum(axis=1)

    mean, gyro_var = moments(gyro)
    _, acc_var = moments(acc)
    still = (
        (gyro_var < np.radians(1.5) ** 2)
        & (acc_var < 0.2**2)
        & ((mean * mean).sum(axis=1) < np.radians(8.0) ** 2)
    )
    last = np.maximum.accumulate(np.where(still, np.arange(len(still)), -1))
    bias = np.where(last[:, None] >= 0, mean[last], 0.0)
    return np.vstack([np.zeros((n - 1, 3)), bias])


def main():
    root = Path(__file__).resolve().parents[3]
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "samples.f64"
        command = ["cargo", "bench", "-p", "peakorder-daemon", "--bench", "reference", "--", "--export", str(file)]
        done = subprocess.run(command, cwd=root, stdout=subprocess.PIPE, text=True, check=False)
        if done.returncode != 0:
            sys.exit(f"{' '.join(command)} failed")
        ours = json.loads(done.stdout.strip().splitlines()[-1])
        rows = np.fromfile(file, dtype="<f8").reshape(-1, 7)
    gyro, acc = np.ascontiguousarray(rows[:, 1:4]), np.ascontiguousarray(rows[:, 4:7])
    n = len(rows)
    assert n == ours["samples"]
    bias_s, bias = best(lambda: bias_at_rest(gyro, acc))
    filter_s, _ = best(lambda: vqf.VQF(1.0 / RATE_HZ).updateBatch(gyro, acc))
    sos = butter(2, 25.0 / 0.802, fs=RATE_HZ, output="sos")
    smooth_s, speed = best(lambda: np.degrees(np.linalg.norm(sosfiltfilt(sos, gyro - bias, axis=0), axis=1)))
    peaks_s, peaks = best(lambda: find_peaks(speed, height=90.0, distance=int(0.3 * RATE_HZ))[0])
    print(f"{n} samples of one strap, {rows[-1, 0]:.0f} s; {len(peaks)} fast moments")
    print("| what | time, ms | million samples/s |")
    print("|---|---|---|")

    def row(name, seconds, count=n):
        print(f"| {name} | {seconds * 1e3:.1f} | {count / seconds / 1e6:.2f} |")

    row("Python: bias at rest (numpy)", bias_s)
    row("Python: VQF (C++)", filter_s)
    row("Python: smoothing (scipy)", smooth_s)
    row("Python: peaks (scipy)", peaks_s)
    total_s = bias_s + filter_s + smooth_s + peaks_s
    row("Python: all four", total_s)
    row("ours: bias at rest + Madgwick", ours["madgwick_s"])
    row("ours: bias at rest + VQF", ours["vqf_s"])
    row("ours: whole pipeline, decoding to swing numbers", ours["whole_s"], ours["whole_samples"])
    print(f"bias and the same filter (VQF): ours is {(bias_s + filter_s) / ours['vqf_s']:.2f} times as fast")
    print(f"bias and each one's default filter: {(bias_s + filter_s) / ours['madgwick_s']:.2f} times")
    whole = ours["whole_samples"] / ours["whole_s"]
    print(f"our whole pipeline against Python's four stages, per sample: {whole * total_s / n:.2f} times")


if __name__ == "__main__":
    main()
