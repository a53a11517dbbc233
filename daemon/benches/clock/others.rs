//! Estimators beside ours, on the same arrivals: what a straightforward tool would do.

/// Lower hull looks back this far, seconds.
pub(crate) const HULL_S: f64 = 900.0;

/// Ordinary least squares of (arrival − device time) over device time, all packets.
#[derive(Debug, Clone, Default)]
pub(crate) struct LeastSquares {
    n: f64,
    x0: f64,
    z0: f64,
    x: f64,
    z: f64,
    xx: f64,
    xz: f64,
}

impl LeastSquares {
    pub(crate) fn push(&mut self, device_s: f64, arrival_s: f64) {
        if self.n == 0.0 {
            (self.x0, self.z0) = (device_s, arrival_s - device_s);
        }
        let (x, z) = (device_s - self.x0, arrival_s - device_s - self.z0);
        self.n += 1.0;
        self.x += x;
        self.z += z;
        self.xx += x * x;
        self.xz += x * z;
    }

    /// Host time of a device time.
    pub(crate) fn host_s(&self, device_s: f64) -> f64 {
        let spread = self.n * self.xx - self.x * self.x;
        let skew = if spread > 0.0 { (self.n * self.xz - self.x * self.z) / spread } else { 0.0 };
        let offset = (self.z - skew * self.x) / self.n;
        device_s + self.z0 + offset + skew * (device_s - self.x0)
    }
}

/// Lower convex hull (Moon, Skelly, Towsley, INFOCOM 1999; Zhang, Liu, Xia, INFOCOM 2002):
/// of all lines under every point the one with the least mean distance, which is the hull's
/// edge over the mean abscissa.
#[derive(Debug, Clone, Default)]
pub(crate) struct LowerHull {
    points: std::collections::VecDeque<(f64, f64)>,
}

impl LowerHull {
    pub(crate) fn push(&mut self, device_s: f64, arrival_s: f64) {
        self.points.push_back((device_s, arrival_s - device_s));
        while self.points.front().is_some_and(|p| p.0 < device_s - HULL_S) {
            self.points.pop_front();
        }
    }

    pub(crate) fn len(&self) -> usize {
        self.points.len()
    }

    pub(crate) fn host_s(&self, device_s: f64) -> f64 {
        let mut hull: Vec<(f64, f64)> = Vec::new();
        let mut mean = 0.0;
        for p in &self.points {
            mean += p.0 / self.points.len() as f64;
            while let [.., a, b] = hull[..] {
                if (b.0 - a.0) * (p.1 - a.1) > (b.1 - a.1) * (p.0 - a.0) {
                    break;
                }
                hull.pop();
            }
            hull.push(*p);
        }
        let (a, b) = match hull.windows(2).find(|w| w[1].0 >= mean) {
            Some(w) => (w[0], w[1]),
            None => (hull[0], hull[0]),
        };
        let skew = if b.0 > a.0 { (b.1 - a.1) / (b.0 - a.0) } else { 0.0 };
        device_s + a.1 + skew * (device_s - a.0)
    }
}
