//! What the pages were told of the view last, so that after a change they are told no more than what is different.
//!
//! Every view has a number. A page that has the one before takes a patch (RFC 6902); any other asks for the whole view.

use serde_json::Value;

use crate::protocol::{Told, View};

/// The view as it was told last.
pub(crate) struct Shown {
    number: u32,
    view: Value,
}

impl Shown {
    /// Nothing was told yet but this.
    pub(crate) fn new(view: &View) -> Self {
        Self { number: 0, view: as_value(view) }
    }

    /// All of it, for a page that comes or has missed something.
    pub(crate) fn whole(&self) -> Told {
        Told::View { number: self.number, view: self.view.clone() }
    }

    /// Takes the view as it is now. What is to be told to pages that have the one before, even where it is the same: a
    /// page may have shown what it asked for and did not get.
    pub(crate) fn take(&mut self, view: &View) -> Told {
        let view = as_value(view);
        let patch = json_patch::diff(&self.view, &view);
        self.number = self.number.wrapping_add(1);
        self.view = view;
        Told::Changed { number: self.number, patch }
    }
}

fn as_value(view: &View) -> Value {
    serde_json::to_value(view).unwrap_or_default()
}
