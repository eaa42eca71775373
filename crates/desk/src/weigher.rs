//! Weighs, behind the scenes, what the part whose card lies open adds to the song over the passage that is heard.

use std::sync::{Mutex, PoisonError};
use std::time::Duration;

use prints::advise::Change;
use prints::fair::{Weighing, adds};

use crate::protocol::{Added, Adds, Figures, Finding, Opened, Told};
use crate::server::Shared;
use crate::wish::Wish;

/// How long nothing must have changed.
const REST: Duration = Duration::from_millis(400);

/// The weigher: one thread in [`Weigher::work`].
pub(crate) struct Weigher {
    wish: Wish<Opened>,
    /// The card that lies open.
    opened: Mutex<Option<Opened>>,
}

impl Default for Weigher {
    fn default() -> Self {
        Self { wish: Wish::new(REST), opened: Mutex::new(None) }
    }
}

impl Weigher {
    /// This card lies open now.
    pub(crate) fn open(&self, opened: Opened) {
        *self.opened.lock().unwrap_or_else(PoisonError::into_inner) = Some(opened.clone());
        self.wish.want(opened);
    }

    /// What was weighed is not so any more.
    pub(crate) fn again(&self) {
        let opened = self.opened.lock().unwrap_or_else(PoisonError::into_inner).clone();
        opened.into_iter().for_each(|opened| self.wish.want(opened));
    }

    /// Nothing more is wanted.
    pub(crate) fn end(&self) {
        self.wish.end();
    }

    /// Weighs whenever it is told to, until the end.
    pub(crate) fn work(&self, shared: &Shared) {
        while let Some(opened) = self.wish.wait() {
            let (sheet, sources, plan, print) = shared.session().for_weighing();
            let weighing = Weighing {
                sheet: &sheet,
                plan: &plan,
                sources: &sources,
                print: &print,
                part: &opened.name,
                span_s: (opened.from_s, opened.to_s),
                threads: 1,
                stop: self.wish.stop(),
            };
            match adds(&weighing) {
                _ if self.wish.is_void() => {}
                Ok(found) => shared.tell(&Told::Adds { adds: told(&opened, found) }),
                Err(fault) => shared.tell(&Told::Refused { finding: Finding::of(&fault.into_problem()) }),
            }
        }
    }
}

/// What was found, as the page shows it.
fn told(opened: &Opened, found: Option<prints::fair::Adds>) -> Adds {
    let Opened { name, from_s, to_s } = opened.clone();
    let Some(found) = found else {
        return Adds { name, span_s: (from_s, to_s), ..Adds::default() };
    };
    let added =
        |added: prints::fair::Added| Added { in_place: figures(&added.in_place), in_print: figures(&added.in_print) };
    Adds {
        name,
        span_s: found.span_s,
        print: Some(found.print),
        whole: figures(&found.whole),
        over_rest: found.over_rest,
        processors: found.processors.into_iter().map(|each| each.map(added)).collect(),
    }
}

fn figures(change: &Change) -> Figures {
    let tenths = |value: Option<f64>| value.map(|value| (10.0 * value).round() / 10.0);
    Figures {
        sentence: change.sentence(),
        loudness_lu: tenths(change.loudness_lu),
        low_mid_high_db: change.low_mid_high_db.map(tenths),
        crest_db: tenths(change.crest_db),
        width_db: tenths(change.width_db),
    }
}
