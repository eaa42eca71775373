//! The shape of a room: its walls, where source and receivers stand, and the images of the source behind the walls.

/// Speed of sound in air at 20 degrees, m/s (ISO 9613-1 reference conditions).
pub(super) const SOUND_M_PER_S: f64 = 343.2;

/// Length, width and height for a length of 1: no two in a simple ratio.
const PROPORTIONS: [f64; 3] = [1.0, 0.737, 0.463];

/// Loss in dB on a mean free path beyond which a room is no longer a room: walls that absorb 60 % (Eyring: 10 lg (1 - 0.6) = -4 dB).
const MOST_LOSS_DB: f64 = 4.0;

/// Reflections off at most this many walls are placed one by one.
const ORDER: i32 = 2;

/// Images of one source up to [`ORDER`]: 6 off one wall and 18 off two.
pub(super) const IMAGES: usize = 24;

/// Distance between the two receivers.
const RECEIVERS_APART_M: f64 = 0.6;

/// Lines of the network.
pub(super) const LINES: usize = 16;

/// Shortest mean delay of the lines for a decay of 1 s; it grows with the root of the decay. The longer a mode sounds, the
/// narrower it is, and the more of them it takes for none to be heard alone (Schroeder 1962); longer lines have more, but
/// blur later.
const LEAST_LINE_S: f64 = 0.03;

/// Decays in an octave between which the lines change their lengths: a ride of the decay seldom moves them.
const STEPS_PER_OCTAVE: f64 = 2.0;

/// A room's shape.
pub(super) struct Shape {
    size_m: [f64; 3],
    distance_m: f64,
    least_line_s: f64,
}

/// One reflection: how much later than the direct sound it arrives, how strong it is against it, and off how many walls.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Reflection {
    pub(super) late_s: f64,
    pub(super) gain: f64,
    pub(super) walls: usize,
}

impl Shape {
    pub(super) fn new(length_m: f64, distance_m: f64, decay_s: f64) -> Self {
        let [l, w, h] = PROPORTIONS;
        let mean_path_of_one = 2.0 * l * w * h / (l * w + l * h + w * h);
        let longest = MOST_LOSS_DB / 60.0 * decay_s * SOUND_M_PER_S / mean_path_of_one;
        let length = length_m.min(longest);
        let step = (STEPS_PER_OCTAVE * libm::log2(decay_s)).round() / STEPS_PER_OCTAVE;
        Self {
            size_m: PROPORTIONS.map(|p| p * length),
            distance_m: distance_m.min(0.45 * length),
            least_line_s: LEAST_LINE_S * libm::exp2(0.5 * step),
        }
    }

    fn volume_m3(&self) -> f64 {
        self.size_m.iter().product()
    }

    /// Mean time between two walls: 4V / (S c).
    pub(super) fn mean_path_s(&self) -> f64 {
        let [l, w, h] = self.size_m;
        4.0 * self.volume_m3() / (2.0 * (l * w + l * h + w * h)) / SOUND_M_PER_S
    }

    /// Energy that arrives in a second from all images, at the time of the direct sound and without losses, where the
    /// direct sound is 1: there are 4 pi (ct)^2 c / V of them in a second at time t, each of energy (d / ct)^2.
    pub(super) fn late_energy_per_second(&self) -> f64 {
        4.0 * std::f64::consts::PI * SOUND_M_PER_S * self.distance_m * self.distance_m / self.volume_m3()
    }

    /// Mean delay of the network's lines.
    pub(super) fn mean_line_s(&self) -> f64 {
        let path = 1.25 * self.mean_path_s();
        (path * path + self.least_line_s * self.least_line_s).sqrt()
    }

    /// Share of the energy that the network delivers at a time: from nothing at its shortest line to all of it.
    pub(super) fn network_share(&self, secs: f64) -> f64 {
        ((secs / self.mean_line_s() - 0.5) / 1.1).clamp(0.0, 1.0)
    }

    /// Energy of an exponential tail with the network's onset, against what it would deliver in its first second
    /// without losses.
    pub(super) fn late_seconds(&self, decay_s: f64) -> f64 {
        let per_second = 6.0 * std::f64::consts::LN_10 / decay_s;
        libm::exp(-per_second * self.mean_line_s()) / per_second
    }

    /// The reflections from one loudspeaker (0 left, 1 right) to one receiver, in a fixed order. Without losses.
    pub(super) fn reflections(&self, speaker: usize, receiver: usize) -> [Reflection; IMAGES] {
        let sign = |side: usize| if side == 0 { -0.5 } else { 0.5 };
        let [length, width, height] = self.size_m;
        let apart = RECEIVERS_APART_M.min(0.2 * width);
        let ears = [0.71 * length, 0.46 * width, 0.41 * height];
        let at = [ears[0], ears[1] + apart * sign(receiver), ears[2]];
        // The loudspeakers stand 60 degrees apart, seen from the receivers.
        let half = (self.distance_m).min(0.7 * width);
        let ahead = 0.866 * self.distance_m;
        let from = [ears[0] - ahead, ears[1] + half * sign(speaker), ears[2] + 0.03 * height];
        let direct_m = distance(from, at);
        let mut reflections = [Reflection { late_s: 0.0, gain: 0.0, walls: 0 }; IMAGES];
        let mut count = 0;
        for x in -ORDER..=ORDER {
            for y in -ORDER..=ORDER {
                for z in -ORDER..=ORDER {
                    let walls = x.abs() + y.abs() + z.abs();
                    if walls == 0 || walls > ORDER {
                        continue;
                    }
                    let image = [image(x, from[0], length), image(y, from[1], width), image(z, from[2], height)];
                    let path_m = distance(image, at);
                    reflections[count] = Reflection {
                        late_s: (path_m - direct_m) / SOUND_M_PER_S,
                        gain: self.distance_m / path_m,
                        walls: walls as usize,
                    };
                    count += 1;
                }
            }
        }
        reflections
    }
}

/// Where the image of number `n` of a source at `at` lies along an axis between walls at 0 and `length`.
fn image(n: i32, at: f64, length: f64) -> f64 {
    if n.rem_euclid(2) == 0 { f64::from(n) * length + at } else { f64::from(n + 1) * length - at }
}

fn distance(a: [f64; 3], b: [f64; 3]) -> f64 {
    (0..3).map(|i| (a[i] - b[i]) * (a[i] - b[i])).sum::<f64>().sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn images_lie_where_the_walls_mirror_the_source() {
        // Geometry: a source 1 m from the wall at 0 in a room of 5 m has images at -1, 9 (one wall), -9, 11 (two).
        assert_eq!([-1, 1, -2, 2].map(|n| image(n, 1.0, 5.0)), [-1.0, 9.0, -9.0, 11.0]);
    }

    #[test]
    fn the_mean_free_path_is_four_volumes_by_the_surface() {
        // Handbook (Kuttruff, Room Acoustics): 4V/S; 10 x 7.37 x 4.63 m: V 341.23, S 308.24.
        let shape = Shape::new(10.0, 2.0, 2.0);
        let [l, w, h] = [10.0, 7.37, 4.63];
        let expected = 4.0 * l * w * h / (2.0 * (l * w + l * h + w * h));
        assert!((shape.mean_path_s() * SOUND_M_PER_S - expected).abs() < 1e-9);
    }

    #[test]
    fn every_reflection_comes_after_the_direct_sound_and_weaker() {
        for length in [2.0, 8.0, 60.0] {
            for distance in [0.3, 2.0, 30.0] {
                let shape = Shape::new(length, distance, 8.0);
                for (speaker, receiver) in [(0, 0), (0, 1), (1, 0), (1, 1)] {
                    for r in shape.reflections(speaker, receiver) {
                        assert!(r.late_s > 0.0 && r.gain > 0.0 && r.gain < 1.1, "{r:?} {length} {distance}");
                    }
                }
            }
        }
    }
}
