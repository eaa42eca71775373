//! Surveys the sheet behind the scenes, once hands have rested for a while: the loudness of everything over the song, and
//! the gains that the ends of prints need.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Condvar, Mutex, PoisonError};
use std::time::Duration;

use prints::survey::{Course, Survey, survey};

use crate::protocol::{Finding, Sound, Sounds, Told};
use crate::server::Shared;

/// How long nothing must have changed.
const REST: Duration = Duration::from_millis(1200);

/// What is to be done.
#[derive(Clone, Copy, PartialEq, Eq, Default)]
enum Wanted {
    #[default]
    Nothing,
    Survey,
    End,
}

/// The surveyor: one thread in [`Surveyor::work`], everyone else tells it to begin.
#[derive(Default)]
pub(crate) struct Surveyor {
    wanted: Mutex<Wanted>,
    told: Condvar,
    stop: AtomicBool,
}

impl Surveyor {
    /// The sheet has changed: whatever is under way is void, and a new survey begins soon.
    pub(crate) fn begin(&self) {
        self.want(Wanted::Survey);
    }

    /// Nothing more is wanted.
    pub(crate) fn end(&self) {
        self.want(Wanted::End);
    }

    fn want(&self, wanted: Wanted) {
        *self.wanted.lock().unwrap_or_else(PoisonError::into_inner) = wanted;
        self.stop.store(true, Ordering::SeqCst);
        self.told.notify_all();
    }

    /// Surveys whenever it is told to, until the end.
    pub(crate) fn work(&self, shared: &Shared) {
        while self.wait() {
            let (sheet, sources) = shared.session().for_survey();
            let folder = shared.session().folder().to_owned();
            let Ok(plan) = engine::compile(&sheet, sources.as_ref()) else { continue };
            let course = Course {
                threads: 1,
                stop: &self.stop,
                progress: &|part| {
                    shared.tell(&Told::Progress { what: "Surveying the song".to_owned(), part });
                },
            };
            match survey(&sheet, &plan, (&folder, sources.as_ref()), &course) {
                Ok(found) => {
                    let sounds = sounds(&found);
                    shared.session().surveyed(found);
                    shared.play_scene();
                    shared.tell(&Told::Sounds { sounds });
                }
                Err(_) if self.stop.load(Ordering::SeqCst) => {}
                Err(fault) => shared.tell(&Told::Refused { finding: Finding::of(&fault.into_problem()) }),
            }
        }
    }

    /// Waits until a survey is wanted and hands have rested. False at the end.
    fn wait(&self) -> bool {
        let mut wanted = self.wanted.lock().unwrap_or_else(PoisonError::into_inner);
        loop {
            match *wanted {
                Wanted::End => return false,
                Wanted::Nothing => wanted = self.told.wait(wanted).unwrap_or_else(PoisonError::into_inner),
                Wanted::Survey => {
                    let (after, rested) = self.told.wait_timeout(wanted, REST).unwrap_or_else(PoisonError::into_inner);
                    wanted = after;
                    if rested.timed_out() && *wanted == Wanted::Survey {
                        *wanted = Wanted::Nothing;
                        self.stop.store(false, Ordering::SeqCst);
                        return true;
                    }
                }
            }
        }
    }
}

/// A survey as the page shows it.
pub(crate) fn sounds(survey: &Survey) -> Sounds {
    /// Momentary loudness has its first value at 0.4 s; the page counts from the first frame.
    const AHEAD: usize = 4;
    let history = |points: &[measure::LoudnessPoint]| {
        let known = points.iter().map(|point| point.momentary_lufs.map(|lufs| (10.0 * lufs).round() as f32 / 10.0));
        std::iter::repeat_n(None, AHEAD).chain(known).collect()
    };
    let programme = |programme: &prints::survey::Programme| Sound {
        name: programme.name.clone(),
        integrated_lufs: programme.integrated_lufs,
        loudness_range_lu: programme.loudness_range_lu,
        true_peak_dbtp: programme.true_peak_dbtp,
        momentary_lufs: history(&programme.history),
    };
    let node = |part: &prints::survey::Part| Sound {
        name: part.name.clone(),
        integrated_lufs: None,
        loudness_range_lu: None,
        true_peak_dbtp: None,
        momentary_lufs: history(&part.history),
    };
    Sounds {
        a_second: 10.0,
        programmes: survey.programmes.iter().map(programme).collect(),
        nodes: survey.parts.iter().map(node).collect(),
    }
}
