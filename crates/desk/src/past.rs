//! What was changed, so that it can be taken back: texts of the sheet, each with what led away from it.

/// A text, and the change between it and its neighbour, in words.
struct Version {
    text: String,
    words: String,
}

/// The changes of a session, without limit.
#[derive(Default)]
pub struct Past {
    behind: Vec<Version>,
    ahead: Vec<Version>,
}

impl Past {
    /// Keeps the text as it was before a change. A change that goes on with the one before adds nothing.
    pub fn keep(&mut self, text: String, words: &str, goes_on: bool) {
        self.ahead.clear();
        match self.behind.last_mut() {
            Some(last) if goes_on => words.clone_into(&mut last.words),
            _ => self.behind.push(Version { text, words: words.to_owned() }),
        }
    }

    /// The text before the last change.
    #[must_use]
    pub fn before(&self) -> Option<&str> {
        self.behind.last().map(|version| version.text.as_str())
    }

    /// The text after the change that was taken back last.
    #[must_use]
    pub fn after(&self) -> Option<&str> {
        self.ahead.last().map(|version| version.text.as_str())
    }

    /// The last change was taken back; `text` is what it had made.
    pub fn went_back(&mut self, text: String) {
        if let Some(version) = self.behind.pop() {
            self.ahead.push(Version { text, words: version.words });
        }
    }

    /// It was made again; `text` is what was there before.
    pub fn went_on(&mut self, text: String) {
        if let Some(version) = self.ahead.pop() {
            self.behind.push(Version { text, words: version.words });
        }
    }

    /// What undoing would take back.
    #[must_use]
    pub fn would_undo(&self) -> Option<&str> {
        self.behind.last().map(|version| version.words.as_str())
    }

    /// What would be made again.
    #[must_use]
    pub fn would_redo(&self) -> Option<&str> {
        self.ahead.last().map(|version| version.words.as_str())
    }
}
