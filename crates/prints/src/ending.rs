//! The end of a print: gain, limiter, and the codec that its ceiling must survive.

use std::fs;
use std::path::Path;

use engine::{Fault, Folder, Plan, Port, Sink, Stream};
use measure::{LoudnessMeter, TruePeakMeter};
use media::{MediaError, Source, codec};
use sheet::{CodecChoice, Print};
use units::{Problem, Severity};

use crate::answer::Answer;
use crate::files::codec_of;
use crate::findings;
use crate::finish::{Ended, Head};
use crate::kept::Kept;
use crate::parallel::{both, in_parallel};
use crate::record::Survived;
use crate::revision::machine;
use crate::solve::Search;
use crate::spool::{Gauged, LoudnessSink, Spool, media_fault};

/// Ceilings that are tried until a codec's round trip holds.
const MOST_CEILINGS: usize = 6;

/// What becomes of a finished print in a 64-bit file, which is not needed any more then.
pub(crate) type Make<'a, T> = &'a (dyn Fn(&Path) -> Result<T, Fault> + Sync);

/// What the search works with.
pub(crate) struct Ending<'a> {
    pub plan: &'a Plan,
    pub port: &'a Port,
    pub work: &'a Path,
    pub rate_hz: u32,
    pub threads: usize,
    pub progress: &'a (dyn Fn(f64) + Sync),
    /// What earlier runs have found.
    pub kept: Option<&'a Kept>,
}

impl Ending<'_> {
    /// Finds gain and ceiling, and gives what `make` makes of the finished print in its 64-bit file.
    pub(crate) fn find<T: Send>(
        &self,
        print: &Print,
        head: &Head,
        target_lufs: Option<f64>,
        target: String,
        make: Make<'_, T>,
    ) -> Result<(T, Ended), Fault> {
        let spool = format!("{}.end.wav", head.spool.trim_end_matches(".wav"));
        let wanted = self.plan.ceiling_dbtp(self.port);
        let known = self.known(print, target_lufs).filter(|answer| self.holds(answer, &head.spool, &spool));
        let (answer, (gauged, made)) = match known {
            Some(answer) => (answer, self.complete(&spool, make)?),
            None => self.search(print, head, &spool, target_lufs, make)?,
        };
        let mut found: Vec<Problem> = target_lufs
            .and_then(|lufs| findings::of_loudness(&print.name, lufs, answer.reached()))
            .into_iter()
            .collect();
        if let (Some(_), Some(wanted)) = (answer.next_ceiling(wanted), wanted) {
            found.push(not_survived(&print.name, wanted, answer.worst_dbtp()));
        }
        for spool in [&spool, &head.spool] {
            fs::remove_file(self.work.join(spool)).map_err(|error| machine(self.work, &error))?;
        }
        (self.progress)(1.0);
        let solved = answer.record(target_lufs, target);
        Ok((made, Ended { gauged, solved: Some(solved), ceiling_dbtp: wanted, findings: found }))
    }

    /// Searches gain and ceiling, leaves the print with them in `spool`, and tells what was made of it.
    fn search<T: Send>(
        &self,
        print: &Print,
        head: &Head,
        spool: &str,
        target_lufs: Option<f64>,
        make: Make<'_, T>,
    ) -> Result<(Answer, (Gauged, T)), Fault> {
        let wanted = self.plan.ceiling_dbtp(self.port);
        let mut ceiling = wanted;
        let mut search = head.gauged.loudness.integrated_lufs().map(Search::new);
        let (mut gain_db, mut tries) = (0.0, 0);
        for round in 1.. {
            let mut render = |gain: f64| {
                tries += 1;
                (self.progress)(tries as f64 / (tries + 3) as f64);
                let take = self.take(&head.spool, spool, gain, ceiling)?;
                Ok(take.integrated_lufs())
            };
            let reached = match (target_lufs, &mut search) {
                (Some(lufs), Some(search)) => {
                    let solved = search.gain_for(lufs, ceiling.unwrap_or(0.0), &mut render)?;
                    gain_db = solved.gain_db;
                    solved.lufs
                }
                _ => render(gain_db)?,
            };
            // An encoder keeps one thread busy. A ceiling that has given way holds as a rule, so that other threads need
            // not wait for the word of the codecs.
            let (survived, early) = if round > 1 && self.threads > 1 {
                let (made, survived) =
                    both(self.threads, || self.complete(spool, make), || self.survived(spool, &print.survive));
                (survived?, Some(made?))
            } else {
                (self.survived(spool, &print.survive)?, None)
            };
            let answer = Answer::new(gain_db, ceiling, survived, tries, reached);
            match answer.next_ceiling(wanted) {
                Some(next) if round < MOST_CEILINGS => ceiling = Some(next),
                _ => {
                    self.remember(print, target_lufs, &answer);
                    let complete = early.map_or_else(|| self.complete(spool, make), Ok)?;
                    return Ok((answer, complete));
                }
            }
        }
        unreachable!("the last ceiling returns")
    }

    /// Gauges the finished print, and makes of it what is wanted.
    fn complete<T: Send>(&self, spool: &str, make: Make<'_, T>) -> Result<(Gauged, T), Fault> {
        let spool = self.work.join(spool);
        let (gauged, made) = both(self.threads, || Gauged::of_file(&spool, self.plan), || make(&spool));
        Ok((gauged?, made?))
    }

    /// What an earlier run has found for the same sound, target and codecs.
    fn known(&self, print: &Print, target_lufs: Option<f64>) -> Option<Answer> {
        self.kept?.note(self.port.step, &question(print, target_lufs))
    }

    fn remember(&self, print: &Print, target_lufs: Option<f64>, answer: &Answer) {
        if let Some(kept) = self.kept {
            kept.keep_note(self.port.step, &question(print, target_lufs), answer);
        }
    }

    /// Whether the print comes out as loud as an answer says; it is in `spool` then.
    fn holds(&self, answer: &Answer, head: &str, spool: &str) -> bool {
        (self.progress)(0.5);
        let take = self.take(head, spool, answer.gain_db(), answer.ceiling_dbtp());
        take.is_ok_and(|loudness| loudness.integrated_lufs() == answer.reached())
    }

    /// Renders the ending with a gain and a ceiling into the file `to`, and measures no more of it than the search asks:
    /// most takes are thrown away.
    fn take(&self, from: &str, to: &str, gain_db: f64, ceiling_dbtp: Option<f64>) -> Result<LoudnessMeter, Fault> {
        let path = self.work.join(to);
        if path.exists() {
            fs::remove_file(&path).map_err(|error| machine(&path, &error))?;
        }
        let plan = self.plan.ending(self.port, from, gain_db, ceiling_dbtp);
        let sources = Folder::new(self.work, self.rate_hz);
        let mut spool = Spool::create(&path, self.rate_hz, plan.print_frames())?;
        let mut loudness = LoudnessSink::new(plan.rate_hz);
        let stream = Stream::open_for(&plan, &sources, &[1, 1], self.threads)?;
        let sinks: Vec<Box<dyn Sink + '_>> = vec![Box::new(&mut spool), Box::new(&mut loudness)];
        stream.run(self.threads, sinks, &|_| ())?;
        spool.finish()?;
        Ok(loudness.0)
    }

    /// Sends the print through each codec and measures what a listener would decode.
    fn survived(&self, spool: &str, choices: &[CodecChoice]) -> Result<Vec<Survived>, Fault> {
        let choices = choices.iter().map(codec_of);
        in_parallel(self.threads, choices, |choice| self.trip(spool, choice).map_err(|error| media_fault(&error)))
    }

    fn trip(&self, spool: &str, choice: codec::CodecChoice) -> Result<Survived, MediaError> {
        let mut block = vec![units::SILENCE; 1 << 14];
        let mut print = media::Reader::open(&self.work.join(spool))?;
        let mut there = codec::Encoding::start(self.work, self.rate_hz, choice)?;
        loop {
            match print.read(&mut block)? {
                0 => break,
                read => there.write(&block[..read])?,
            }
        }
        let mut back = there.finish()?;
        let mut meter = TruePeakMeter::new();
        loop {
            match back.read(&mut block)? {
                0 => break,
                read => meter.push(&block[..read]),
            }
        }
        let [left, right] = meter.finish();
        let decoded_dbtp = units::db_from_gain(left.value.max(right.value));
        Ok(Survived { codec: choice.to_string(), encoder: choice.encoder(), decoded_dbtp })
    }
}

/// What the search is asked, beside the sound that it is asked of.
fn question(print: &Print, target_lufs: Option<f64>) -> String {
    let codecs = print.survive.iter().map(codec_of).map(|codec| format!("{codec} by {}", codec.encoder()));
    format!("ending at {target_lufs:?} through {:?}", codecs.collect::<Vec<_>>())
}

fn not_survived(print: &str, wanted_dbtp: f64, decoded_dbtp: f64) -> Problem {
    let message = format!("{decoded_dbtp:.2} dBTP after the codec, above the ceiling of {wanted_dbtp:.2} dBTP.");
    let remedy = "Ask for less loudness, or take the codec from the `survive` list.".to_owned();
    Problem::new(Severity::Fail, "codec-over", &format!("print {print}"), message, remedy)
}
