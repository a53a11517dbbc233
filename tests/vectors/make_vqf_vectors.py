"""Makes vqf.json: orientations by the authors' own VQF filter.

    python3 -m venv /tmp/vectors && /tmp/vectors/bin/pip install numpy==2.4.6 vqf==2.1.2
    /tmp/vectors/bin/python make_vqf_vectors.py > vqf.json

The input is a formula, which the test writes down a second time. The file is written once
and kept; run this again only to change what is in it.
"""

import json
from importlib.metadata import version

import numpy as np
import vqf

RATE_HZ, SECONDS, EVERY = 100.0, 30.0, 50
t = np.arange(int(RATE_HZ * SECONDS)) / RATE_HZ
moving = np.where(t < 5.0, 0.0, 1.0)
gyro = np.stack(
    [
        0.8 * np.sin(1.3 * t) * moving + 0.010,
        0.5 * np.cos(0.7 * t) * moving - 0.005,
        1.1 * np.sin(2.1 * t) * moving + 0.008,
    ],
    axis=1,
)
acc = np.stack(
    [2.0 + moving * np.sin(0.9 * t), 1.0 + moving * 0.5 * np.cos(1.7 * t), np.full_like(t, 9.5)], axis=1
)
every = slice(EVERY - 1, None, EVERY)
# As it comes, but for the largest bias that is believed.
whole = vqf.VQF(1.0 / RATE_HZ, biasClip=8.0).updateBatch(np.ascontiguousarray(gyro), np.ascontiguousarray(acc))
# As the product uses it: the bias is known and the filter's own estimate off, and the accelerometer
# corrects with every fourth sample.
BIAS = [0.010, -0.005, 0.008]
quarter = vqf.VQF(
    1.0 / RATE_HZ,
    4.0 / RATE_HZ,
    motionBiasEstEnabled=False,
    restBiasEstEnabled=False,
    magDistRejectionEnabled=False,
)
quarters = []
for i in range(len(t)):
    quarter.updateGyr(np.ascontiguousarray(gyro[i] - BIAS))
    if i % 4 == 3:
        quarter.updateAcc(np.ascontiguousarray(acc[i]))
    quarters.append(quarter.getQuat6D())
print(
    json.dumps(
        {
            "made_by": {"vqf": version("vqf"), "numpy": np.__version__},
            "rate_hz": RATE_HZ,
            "seconds": SECONDS,
            "every": EVERY,
            "wxyz_z_up": np.round(whole["quat6D"][every], 12).tolist(),
            "bias_known_wxyz_z_up": np.round(np.array(quarters)[every], 12).tolist(),
        }
    )
)
