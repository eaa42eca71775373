//! Times and frames. A frame is one sample of every channel.

/// Whole frames nearest to a time in seconds at a rate.
#[must_use]
pub fn frames_from_secs(secs: f64, rate_hz: f64) -> i64 {
    (secs * rate_hz).round() as i64
}

/// Whole frames nearest to a time in milliseconds at a rate, never negative.
#[must_use]
pub fn frames_from_ms(ms: f64, rate_hz: f64) -> usize {
    (ms * 1e-3 * rate_hz).round().max(0.0) as usize
}

/// Seconds of a number of frames at a rate.
#[must_use]
pub fn secs_from_frames(frames: i64, rate_hz: f64) -> f64 {
    frames as f64 / rate_hz
}

/// A time as people read it: `m:ss.fff`.
#[must_use]
pub fn format_time(secs: f64) -> String {
    let sign = if secs < 0.0 { "-" } else { "" };
    let millis = (secs.abs() * 1000.0).round() as u64;
    format!("{sign}{}:{:02}.{:03}", millis / 60_000, millis / 1000 % 60, millis % 1000)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_read_as_minutes_and_seconds() {
        assert_eq!(format_time(41.2), "0:41.200");
        assert_eq!(format_time(222.0), "3:42.000");
        assert_eq!(format_time(59.9996), "1:00.000");
        assert_eq!(format_time(-1.5), "-0:01.500");
    }

    #[test]
    fn frames_round_to_the_nearest() {
        assert_eq!(frames_from_ms(1.0, 44_100.0), 44);
        assert_eq!(frames_from_secs(-0.5, 48_000.0), -24_000);
        assert_eq!(frames_from_ms(-3.0, 48_000.0), 0);
    }
}
