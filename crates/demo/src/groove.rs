//! The drummer's and the percussionist's parts: what is struck, when, how hard.
//!
//! A pattern has sixteen places a bar, a digit is a stroke's velocity in ninths, a point is nothing; longer patterns run
//! over several bars. Of the lines that cover a bar, the last one holds.

use crate::score::beat_of_bar;

/// A pattern over a range of bars, both included.
pub(crate) struct Line(u32, u32, &'static str);

/// One struck thing's lines.
pub(crate) type Part = &'static [Line];

pub(crate) const KICK: Part = &[
    Line(4, 4, "7..............."),
    Line(5, 5, "7.......6......."),
    Line(6, 13, "8.....5.7.......8.......7.5...4."),
    Line(13, 13, "8.....5.7......."),
    Line(14, 21, "9..5..7.8.......9..5..7.8.....6."),
    Line(25, 25, "5...6...7...8..."),
    Line(26, 33, "9..6..8.8..6....9..6..7.8.6...7."),
    Line(33, 33, "9..6..8.8...8..."),
    Line(34, 35, "9..............."),
];

pub(crate) const SNARE: Part = &[
    Line(5, 5, "............3456"),
    Line(13, 13, "........67......"),
    Line(14, 21, "....9..2.2..9.......9....2..9..3"),
    Line(21, 21, "....9..2.2..9..."),
    Line(25, 25, "........34455678"),
    Line(26, 33, "....9..3.3..9..2....9..3.3..9.43"),
    Line(33, 33, "8899....9......9"),
];

/// Stick laid across the head, struck on the rim.
pub(crate) const CROSS_STICK: Part = &[
    Line(6, 13, "....6.......6.......6.......6..3"),
    Line(13, 13, "....6..........."),
    Line(22, 24, "............4..."),
];

pub(crate) const CLOSED_HATS: Part = &[
    Line(4, 5, "5...3...5...3.3."),
    Line(6, 13, "6.3.5.3.6.3.5.3.6.3.5.346.3.5.3."),
    Line(13, 13, "6.3.5.3........."),
    Line(14, 20, "..4...4...4...4...4...4...4....."),
    Line(21, 21, "..4...4...4....."),
];

/// Hats closed by the foot while the hands are on the ride.
pub(crate) const FOOT_HATS: Part = &[Line(26, 33, "....3.......3...")];

/// Hats half open, or fully for the hardest strokes.
pub(crate) const OPEN_HATS: Part = &[
    Line(9, 9, "..............5."),
    Line(14, 21, "6...6...6...6...6...6...6...6.7."),
    Line(14, 14, "....6...6...6..."),
    Line(21, 21, "6...6...6......."),
];

pub(crate) const RIDE: Part = &[
    Line(26, 33, "7.4.6.4.7.4.6.4."),
    Line(26, 26, "..4.6.4.7.4.6.4."),
    Line(29, 29, "7.4.6.4.7.4....."),
    Line(30, 30, "..4.6.4.7.4.6.4."),
    Line(33, 33, "7.4.6..........."),
];

/// The crash on the hats' side.
pub(crate) const CRASH: Part = &[
    Line(14, 14, "9..............."),
    Line(26, 26, "9..............."),
    Line(30, 30, "7..............."),
    Line(34, 34, "9..............."),
];

/// The darker crash on the floor tom's side.
pub(crate) const DARK_CRASH: Part = &[
    Line(18, 18, "8..............."),
    Line(30, 30, "8..............."),
    Line(33, 33, "............7..."),
    Line(35, 35, "6..............."),
];

/// Soft mallets on the dark crash, swelling.
pub(crate) const MALLETS: Part = &[
    Line(5, 5, "........11112223"),
    Line(13, 13, "........11112233"),
    Line(22, 22, "2..............."),
    Line(25, 25, "1111222233344556"),
];

pub(crate) const HIGH_TOM: Part = &[
    Line(5, 5, "........5......."),
    Line(13, 13, "..........78...."),
    Line(21, 21, "............77.."),
    Line(29, 29, "............6.6."),
    Line(33, 33, "....88.........."),
];

pub(crate) const MIDDLE_TOM: Part = &[
    Line(5, 5, "..........5....."),
    Line(13, 13, "............88.."),
    Line(22, 24, "..........3....."),
    Line(29, 29, "...............6"),
    Line(33, 33, "......88..8....."),
];

pub(crate) const FLOOR_TOM: Part = &[
    Line(5, 5, "...........5...."),
    Line(13, 13, "..............89"),
    Line(21, 21, "..............88"),
    Line(22, 24, "6.....4.5......."),
    Line(25, 25, "6...6...6.6.7.7."),
    Line(33, 33, "...........889.."),
];

pub(crate) const TAMBOURINE: Part = &[
    Line(14, 21, "....8.......8..."),
    Line(18, 21, "..3.8.3...3.8.3."),
    Line(26, 33, "5.3.8.3.5.3.8.34"),
    Line(33, 33, "5.3.8..........."),
];

pub(crate) const SHAKER: Part = &[
    Line(10, 13, "5243524352435243"),
    Line(13, 13, "52435243........"),
    Line(22, 24, "4.2.4.2.4.2.4.2."),
    Line(26, 32, "6354635463546354"),
];

/// Beats and velocities (0 to 1) of a part's strokes, in order.
pub(crate) fn strokes(part: Part) -> Vec<(f64, f64)> {
    let last_bar = part.iter().map(|line| line.1).max().unwrap_or(0);
    let mut strokes = Vec::new();
    for bar in 1..=last_bar {
        let Some(Line(first, _, pattern)) = part.iter().rev().find(|line| (line.0..=line.1).contains(&bar)) else {
            continue;
        };
        let bars = pattern.len() / 16;
        let from = (bar - first) as usize % bars * 16;
        for (place, digit) in pattern[from..from + 16].chars().enumerate() {
            if let Some(velocity) = digit.to_digit(10) {
                strokes.push((beat_of_bar(bar) + place as f64 / 4.0, f64::from(velocity) / 9.0));
            }
        }
    }
    strokes
}

#[cfg(test)]
mod tests {
    use super::*;

    const ALL: [Part; 15] = [
        KICK,
        SNARE,
        CROSS_STICK,
        CLOSED_HATS,
        OPEN_HATS,
        FOOT_HATS,
        RIDE,
        CRASH,
        DARK_CRASH,
        MALLETS,
        HIGH_TOM,
        MIDDLE_TOM,
        FLOOR_TOM,
        TAMBOURINE,
        SHAKER,
    ];

    #[test]
    fn patterns_are_whole_bars_of_digits_and_points() {
        for Line(first, last, pattern) in ALL.iter().flat_map(|part| part.iter()) {
            assert!(first <= last && pattern.len().is_multiple_of(16), "{pattern}");
            assert!(pattern.chars().all(|c| c == '.' || ('1'..='9').contains(&c)), "{pattern}");
        }
    }

    #[test]
    fn later_lines_hold() {
        let kick = strokes(KICK);
        let in_bar =
            |bar| kick.iter().filter(|(beat, _)| (beat_of_bar(bar)..beat_of_bar(bar + 1)).contains(beat)).count();
        assert_eq!((in_bar(6), in_bar(7), in_bar(13), in_bar(22)), (3, 4, 3, 0));
    }

    #[test]
    fn a_drummer_has_two_hands() {
        let hands =
            [SNARE, CROSS_STICK, CLOSED_HATS, OPEN_HATS, RIDE, CRASH, DARK_CRASH, HIGH_TOM, MIDDLE_TOM, FLOOR_TOM];
        let mut at: Vec<i64> =
            hands.iter().flat_map(|p| strokes(p)).map(|(beat, _)| (beat * 4.0).round() as i64).collect();
        at.sort_unstable();
        for three in at.windows(3) {
            assert!(three[0] != three[2], "three hands at bar {}", three[0] / 16 + 1);
        }
    }
}
