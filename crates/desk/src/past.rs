//! What was changed, so that it can be taken back: for each change the words of the sheet that became others.
//!
//! A session may have thousands of changes, and a sheet many pages: only what differs is kept of each.

/// A change between two neighbouring texts: at a byte, some words became others.
struct Change {
    at: usize,
    was: Box<str>,
    became: Box<str>,
    /// In words, for people.
    words: String,
}

impl Change {
    /// What lies between what two texts have in common at their beginning and at their end.
    fn between(before: &str, after: &str, words: &str) -> Self {
        let alike = before.bytes().zip(after.bytes()).take_while(|(a, b)| a == b).count();
        let is_boundary = |at: &usize| before.is_char_boundary(*at) && after.is_char_boundary(*at);
        let at = (0..=alike).rev().find(is_boundary).unwrap_or(0);
        let (was, became) = (&before[at..], &after[at..]);
        let alike = was.bytes().rev().zip(became.bytes().rev()).take_while(|(a, b)| a == b).count();
        // What is alike is so to the byte: a boundary in one is a boundary in the other.
        let alike = (0..=alike).rev().find(|alike| was.is_char_boundary(was.len() - alike)).unwrap_or(0);
        let part = |text: &str| text[..text.len() - alike].into();
        Self { at, was: part(was), became: part(became), words: words.to_owned() }
    }

    fn taken_back(&self, after: &str) -> String {
        replaced(after, self.at, self.became.len(), &self.was)
    }

    fn made_again(&self, before: &str) -> String {
        replaced(before, self.at, self.was.len(), &self.became)
    }
}

fn replaced(text: &str, at: usize, length: usize, with: &str) -> String {
    [&text[..at], with, &text[at + length..]].concat()
}

/// The changes of a session, without limit. It holds no text: whoever asks says what the text is now.
#[derive(Default)]
pub struct Past {
    behind: Vec<Change>,
    ahead: Vec<Change>,
}

impl Past {
    /// Keeps a change. One that goes on with the one before becomes part of it.
    pub fn keep(&mut self, before: &str, after: &str, words: &str, goes_on: bool) {
        self.ahead.clear();
        let earlier = self.behind.pop_if(|_| goes_on).map(|last| last.taken_back(before));
        self.behind.push(Change::between(earlier.as_deref().unwrap_or(before), after, words));
    }

    /// The text before the last change.
    #[must_use]
    pub fn before(&self, now: &str) -> Option<String> {
        self.behind.last().map(|change| change.taken_back(now))
    }

    /// The text after the change that was taken back last.
    #[must_use]
    pub fn after(&self, now: &str) -> Option<String> {
        self.ahead.last().map(|change| change.made_again(now))
    }

    /// The last change was taken back.
    pub fn went_back(&mut self) {
        self.ahead.extend(self.behind.pop());
    }

    /// It was made again.
    pub fn went_on(&mut self) {
        self.behind.extend(self.ahead.pop());
    }

    /// What undoing would take back.
    #[must_use]
    pub fn would_undo(&self) -> Option<&str> {
        self.behind.last().map(|change| change.words.as_str())
    }

    /// What would be made again.
    #[must_use]
    pub fn would_redo(&self) -> Option<&str> {
        self.ahead.last().map(|change| change.words.as_str())
    }
}

#[cfg(test)]
mod tests {
    use chance::Random;

    use super::*;

    /// Texts with signs of one to four bytes, some of which share their first or last bytes.
    fn text(random: &mut Random) -> String {
        const SIGNS: [char; 8] = ['a', 'b', 'ä', 'å', '…', '†', '🎚', '🎛'];
        (0..random.below(12)).map(|_| SIGNS[random.below(SIGNS.len())]).collect()
    }

    #[test]
    fn every_text_comes_back_and_again() {
        let mut random = Random(9);
        for _ in 0..200 {
            let mut past = Past::default();
            let texts: Vec<String> = (0..20).map(|_| text(&mut random)).collect();
            for pair in texts.windows(2) {
                past.keep(&pair[0], &pair[1], "a change", false);
            }
            let mut now = texts[19].clone();
            for expected in texts[..19].iter().rev() {
                now = past.before(&now).expect("a change is left");
                past.went_back();
                assert_eq!(now, *expected);
            }
            assert_eq!(past.before(&now), None);
            for expected in &texts[1..] {
                now = past.after(&now).expect("a change is ahead");
                past.went_on();
                assert_eq!(now, *expected);
            }
            assert_eq!(past.after(&now), None);
        }
    }

    #[test]
    fn what_goes_on_is_one_change_and_costs_what_differs() {
        let mut past = Past::default();
        let sheet =
            |level: usize| format!("{}level_db = -{level}\n{}", "# before\n".repeat(5000), "# after\n".repeat(5000));
        past.keep(&sheet(1), &sheet(2), "level to -2", false);
        past.keep(&sheet(2), &sheet(3), "level to -3", true);
        past.keep(&sheet(3), &sheet(44), "level to -44", true);
        let [change] = &past.behind[..] else { panic!("one change") };
        assert_eq!((&*change.was, &*change.became, change.words.as_str()), ("1", "44", "level to -44"));
        assert_eq!(past.before(&sheet(44)), Some(sheet(1)));
    }
}
