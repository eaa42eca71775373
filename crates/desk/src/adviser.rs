//! Asks for advice on the sheet behind the scenes, when somebody wants it: what every path adds, where it does harm, what
//! loudness costs, how prints travel. See `prints::advise`.

use std::sync::Arc;
use std::time::Duration;

use prints::Stopped;
use prints::advise::{Question, advise};

use crate::protocol::{Finding, Told};
use crate::server::Shared;
use crate::wish::Wish;

const REST: Duration = Duration::from_millis(50);

/// The adviser: one thread in [`Adviser::work`].
pub(crate) struct Adviser(Wish<()>);

impl Default for Adviser {
    fn default() -> Self {
        Self(Wish::new(REST))
    }
}

impl Adviser {
    /// Advice is wanted on the sheet as it is now.
    pub(crate) fn ask(&self) {
        self.0.want(());
    }

    /// Nothing more is wanted.
    pub(crate) fn end(&self) {
        self.0.end();
    }

    /// Listens whenever it is told to, until the end.
    pub(crate) fn work(&self, shared: &Arc<Shared>) {
        while self.0.wait().is_some() {
            let (sheet, text) = shared.session().for_advice();
            let tell = |what: &str, part: f64| {
                // The end of a step is not the end of all.
                shared.tell(&Told::Progress { what: what.to_owned(), part: part.min(0.99) });
            };
            let question = Question {
                sheet: &sheet,
                page: None,
                residual: None,
                hear: None,
                threads: 1,
                stop: self.0.stop(),
                progress: &tell,
            };
            match advise(&question) {
                _ if self.0.is_void() => {}
                Ok(advice) => {
                    let findings = advice.findings.iter().map(Finding::of_advice).collect();
                    shared.session().advised(text, findings);
                    shared.tell_view();
                }
                Err(stopped) => {
                    let problems = match stopped {
                        Stopped::Sheet(loaded) => loaded.problems,
                        Stopped::Fault(fault) => vec![fault.into_problem()],
                    };
                    problems.iter().for_each(|problem| shared.tell(&Told::Refused { finding: Finding::of(problem) }));
                }
            }
            shared.tell(&Told::Progress { what: "Advice".to_owned(), part: 1.0 });
        }
    }
}
