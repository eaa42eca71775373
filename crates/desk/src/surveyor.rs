//! Surveys the sheet behind the scenes, once hands have rested for a while: the loudness of everything over the song, and
//! the gains that the ends of prints need.

use std::time::Duration;

use prints::survey::{Course, Survey, survey};

use crate::protocol::{Finding, Sound, Sounds, Told};
use crate::server::Shared;
use crate::wish::Wish;

/// How long nothing must have changed.
const REST: Duration = Duration::from_millis(1200);

/// The surveyor: one thread in [`Surveyor::work`].
pub(crate) struct Surveyor(Wish<()>);

impl Default for Surveyor {
    fn default() -> Self {
        Self(Wish::new(REST))
    }
}

impl Surveyor {
    /// The sheet has changed: whatever is under way is void, and a new survey begins soon.
    pub(crate) fn begin(&self) {
        self.0.want(());
    }

    /// Nothing more is wanted.
    pub(crate) fn end(&self) {
        self.0.end();
    }

    /// Surveys whenever it is told to, until the end.
    pub(crate) fn work(&self, shared: &Shared) {
        while self.0.wait().is_some() {
            let (sheet, sources) = shared.session().for_survey();
            let folder = shared.session().folder().to_owned();
            let Ok(plan) = engine::compile(&sheet, sources.as_ref()) else { continue };
            let course = Course {
                threads: 1,
                stop: self.0.stop(),
                progress: &|part| {
                    shared.tell(&Told::Progress { what: "Surveying the song".to_owned(), part });
                },
            };
            match survey(&sheet, &plan, (&folder, sources.as_ref()), &course) {
                Ok(found) => {
                    let sounds = sounds(&found);
                    shared.session().surveyed(found);
                    shared.play_scene();
                    shared.weigher.again();
                    shared.tell(&Told::Sounds { sounds });
                }
                Err(_) if self.0.is_void() => {}
                Err(fault) => shared.tell(&Told::Refused { finding: Finding::of(&fault.into_problem()) }),
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
