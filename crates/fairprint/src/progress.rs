//! A progress bar for work over a second, on a terminal.

use std::sync::Mutex;
use std::sync::PoisonError;
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// Work shorter than this shows no bar.
const PATIENCE: Duration = Duration::from_secs(1);

/// Shows what is going on, and how much of it is done.
pub struct Progress {
    started: Instant,
    bar: Option<Mutex<ProgressBar>>,
}

impl Progress {
    /// A bar, or none where nobody would see it.
    pub fn new(shown: bool) -> Self {
        let bar = || {
            let bar = ProgressBar::with_draw_target(Some(1000), ProgressDrawTarget::stderr());
            let style = ProgressStyle::with_template("{msg:34} {bar:30} {percent:>3} %");
            bar.set_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()).progress_chars("── "));
            Mutex::new(bar)
        };
        Self { started: Instant::now(), bar: shown.then(bar) }
    }

    /// Tells what is going on and which part of it is done, from 0 to 1.
    pub fn tell(&self, what: &str, part: f64) {
        let Some(bar) = &self.bar else { return };
        if self.started.elapsed() < PATIENCE {
            return;
        }
        let bar = bar.lock().unwrap_or_else(PoisonError::into_inner);
        bar.set_message(what.to_owned());
        bar.set_position((part * 1000.0) as u64);
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        if let Some(bar) = &self.bar {
            bar.lock().unwrap_or_else(PoisonError::into_inner).finish_and_clear();
        }
    }
}
