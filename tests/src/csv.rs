//! Writing samples as loggers of any kind would.

use std::fmt::Write as _;

/// One sample in SI units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// Time, s.
    pub t_s: f64,
    /// Angular velocity, rad/s.
    pub gyro_rad_s: [f64; 3],
    /// Specific force, m/s².
    pub accel_m_s2: [f64; 3],
}

impl From<peakorder_virtual_straps::Sample> for Sample {
    fn from(s: peakorder_virtual_straps::Sample) -> Self {
        Self { t_s: s.t_s, gyro_rad_s: s.gyro_rad_s, accel_m_s2: s.accel_m_s2 }
    }
}

/// Standard gravity, m/s² (CGPM 1901).
pub const G: f64 = 9.80665;

/// How a logger writes its table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Variant {
    /// rad/s and m/s², columns as in the manual.
    Si,
    /// deg/s and g, columns in another order, two more of them, comments, blanks round values.
    Trade,
}

/// The whole file.
pub fn table(samples: impl IntoIterator<Item = Sample>, variant: Variant) -> String {
    let mut text = String::new();
    match variant {
        Variant::Si => {
            text.push_str(
                "time_s,gyro_x_rad_s,gyro_y_rad_s,gyro_z_rad_s,accel_x_m_s2,accel_y_m_s2,accel_z_m_s2\n",
            );
            for s in samples {
                let ([gx, gy, gz], [ax, ay, az]) = (s.gyro_rad_s, s.accel_m_s2);
                writeln!(text, "{:.7},{gx:.9},{gy:.9},{gz:.9},{ax:.8},{ay:.8},{az:.8}", s.t_s)
                    .expect("a string takes text");
            }
        }
        Variant::Trade => {
            text.push_str("# made by a test\n");
            text.push_str("temperature_c, accel_z_g,gyro_z_dps,accel_x_g,gyro_x_dps,time_s,gyro_y_dps,accel_y_g,battery_v\n");
            for s in samples {
                let [gx, gy, gz] = s.gyro_rad_s.map(f64::to_degrees);
                let [ax, ay, az] = s.accel_m_s2.map(|v| v / G);
                writeln!(text, "31.5, {az:.9},{gz:.7} ,{ax:.9},{gx:.7},{:.7},{gy:.7},{ay:.9},3.9", s.t_s)
                    .expect("a string takes text");
            }
        }
    }
    text
}

/// A marks file.
pub fn marks<'a>(marks: impl IntoIterator<Item = (f64, &'a str, &'a str)>) -> String {
    let mut text = String::from("time_s,mark,detail\n");
    for (t_s, mark, detail) in marks {
        writeln!(text, "{t_s:.6},{mark},{detail}").expect("a string takes text");
    }
    text
}
