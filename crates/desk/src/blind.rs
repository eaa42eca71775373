//! A blind test under way. What X is stays here until the last answer.

use listening::blind::{BlindTest, Round, Side};

use crate::protocol::{self, Unknown};

/// A test that goes on.
pub struct Blind {
    test: BlindTest,
    x: Side,
    /// Whether X was heard in this round.
    heard_x: bool,
    hears: Option<Unknown>,
}

impl Blind {
    /// A test of so many rounds; X is `x` in the first. `test` says what is compared, and has no rounds yet.
    #[must_use]
    pub fn new(test: BlindTest, x: Side) -> Self {
        Self { test, x, heard_x: false, hears: None }
    }

    /// Listens to one of the three; returns which of the two that is.
    pub fn hear(&mut self, what: Unknown) -> Side {
        self.hears = Some(what);
        match what {
            Unknown::A => Side::A,
            Unknown::B => Side::B,
            Unknown::X => {
                self.heard_x = true;
                self.x
            }
        }
    }

    /// Takes an answer; X is `x` in the next round, and what plays goes on until something is listened to. Tells whether
    /// the answer counts: an X that nobody has heard is not answered.
    pub fn answer(&mut self, answer: Side, x: Side) -> bool {
        if !self.heard_x || self.is_whole() {
            return false;
        }
        self.test.rounds.push(Round { x: self.x, answer });
        (self.x, self.heard_x, self.hears) = (x, false, None);
        true
    }

    /// Whether all rounds are answered.
    #[must_use]
    pub fn is_whole(&self) -> bool {
        self.test.rounds.len() >= self.test.planned
    }

    /// What there is of it.
    #[must_use]
    pub fn test(&self) -> &BlindTest {
        &self.test
    }

    /// As the page sees it.
    #[must_use]
    pub fn view(&self) -> protocol::Blind {
        let [from, to] = self.test.passage_secs;
        protocol::Blind {
            sides: [self.test.a.clone(), self.test.b.clone()],
            passage_s: (from, to),
            rounds: self.test.planned,
            answered: self.test.rounds.len(),
            ready: true,
            hears: self.hears,
            outcome: self.is_whole().then(|| self.test.sentence()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn blind(planned: usize) -> Blind {
        let test = BlindTest {
            a: "for mastering".to_owned(),
            b: "for approval".to_owned(),
            passage_secs: [1.0, 9.0],
            turned_down_db: [0.0, -4.0],
            planned,
            rounds: Vec::new(),
            written: String::new(),
        };
        Blind::new(test, Side::B)
    }

    #[test]
    fn x_is_one_of_the_two_and_only_what_was_heard_is_answered() {
        let mut blind = blind(2);
        assert!(!blind.answer(Side::B, Side::A), "nobody has heard X yet");
        assert_eq!([Unknown::A, Unknown::B, Unknown::X].map(|what| blind.hear(what)), [Side::A, Side::B, Side::B]);
        assert!(blind.answer(Side::B, Side::A) && !blind.answer(Side::B, Side::A), "a second press answers nothing");
        assert_eq!(blind.view().hears, None);
        assert_eq!(blind.hear(Unknown::X), Side::A);
        assert!(blind.answer(Side::B, Side::A) && blind.is_whole());
        assert_eq!(blind.test().rounds, [Round { x: Side::B, answer: Side::B }, Round { x: Side::A, answer: Side::B }]);
    }

    #[test]
    fn the_page_sees_the_same_whatever_x_is() {
        let views = [Side::A, Side::B].map(|x| {
            let mut blind = blind(5);
            blind.x = x;
            blind.hear(Unknown::X);
            serde_json::to_string(&blind.view()).expect("text")
        });
        assert_eq!(views[0], views[1]);
    }
}
