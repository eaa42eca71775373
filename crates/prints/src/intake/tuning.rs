//! Verdicts on tuning, and on rates that a file only claims: what plays at the wrong rate is out of tune and of another length.

use measure::stem_facts::tuning::{Tuning, a_hz, cents_between, common_cents};
use units::{Problem, Severity, format_time};

use super::{Group, Incoming};

/// How well partials must agree for a stem to have a tuning, how many notes it must play, and for how long. Common practice,
/// no source.
const AGREEMENT: f64 = 0.35;
const LEAST_NOTES: usize = 3;
const LEAST_STRETCHES: usize = 5;
/// Cents from A = 440 Hz from which a song's tuning is told: 441.3 Hz.
const OTHER_A_CENTS: f64 = 5.0;
/// Cents from the other stems from which one is out of tune, and how well it must agree with itself.
const APART_CENTS: f64 = 15.0;
const APART_AGREEMENT: f64 = 0.45;
/// Stems with pitch that it is held against, at least.
const LEAST_OTHERS: usize = 2;
/// Rates that recordings have.
const RATES_HZ: [f64; 6] = [44_100.0, 48_000.0, 88_200.0, 96_000.0, 176_400.0, 192_000.0];
/// How near a length must come to one that another rate explains; shorter songs say too little.
const SAME_LENGTH: f64 = 2e-4;
const LEAST_SECS: f64 = 10.0;
/// Cents by which tuning may miss what the rates would give.
const SAME_CENTS: f64 = 10.0;

/// What the stems are tuned to together, in cents above A = 440 Hz; none if too little has pitch.
pub(super) fn of_song(files: &[Incoming]) -> Option<f64> {
    common_cents(files.iter().filter_map(tuning), 1)
}

/// The tuning of a stem that has one: drums do not.
fn tuning(file: &Incoming) -> Option<Tuning> {
    let pitched = !matches!(file.group()?, Group::Drums | Group::Percussion);
    let clear = |tuning: &Tuning| {
        tuning.agreement >= AGREEMENT && tuning.notes >= LEAST_NOTES && tuning.stretches >= LEAST_STRETCHES
    };
    file.facts.tuning.filter(|tuning| pitched && clear(tuning))
}

/// Findings about the stems together.
pub(super) fn findings(files: &[Incoming], rate_hz: u32) -> Vec<Problem> {
    let song = of_song(files);
    let mut findings = Vec::new();
    if let Some(cents) = song.filter(|cents| cents.abs() >= OTHER_A_CENTS) {
        let a_hz = a_hz(cents);
        let message = format!("The song is tuned to A = {a_hz:.1} Hz, {cents:+.0} cents from 440 Hz.");
        let remedy = "Nothing need be done; tune what is added to that.".to_owned();
        findings.push(Problem::new(Severity::Note, "tuning", "", message, remedy));
    }
    for file in files.iter().filter(|file| file.group().is_some()) {
        let mislabelled = wrong_rate(file, files, rate_hz, song);
        let found = mislabelled.or_else(|| apart(file, files));
        findings.extend(found);
    }
    findings
}

/// A stem that is out of tune with the rest of them.
fn apart(file: &Incoming, files: &[Incoming]) -> Option<Problem> {
    let own = tuning(file).filter(|tuning| tuning.agreement >= APART_AGREEMENT)?;
    let others = files.iter().filter(|other| other.file != file.file).filter_map(tuning);
    let others = common_cents(others, LEAST_OTHERS)?;
    let cents = wrapped(own.cents - others);
    if cents.abs() < APART_CENTS {
        return None;
    }
    let message = format!(
        "It is {:.0} cents {} than the other stems: A = {:.1} Hz beside {:.1} Hz.",
        cents.abs(),
        if cents > 0.0 { "higher" } else { "lower" },
        a_hz(others + cents),
        a_hz(others)
    );
    let remedy = "Listen to it with the others; ask at what rate and speed it was recorded.".to_owned();
    Some(Problem::new(Severity::Warn, "tuned-apart", &file.file, message, remedy))
}

/// A file whose length says that it was recorded at another rate than its label's, if its tuning does not speak against it.
fn wrong_rate(file: &Incoming, files: &[Incoming], rate_hz: u32, song: Option<f64>) -> Option<Problem> {
    let usual = usual_frames(files, rate_hz)? as f64;
    let (frames, labelled_hz) = (file.facts.frames as f64, f64::from(file.info.rate_hz));
    let secs = usual / f64::from(rate_hz);
    if secs < LEAST_SECS || (frames / labelled_hz / secs - 1.0).abs() < SAME_LENGTH {
        return None;
    }
    // At its true rate it is as long as the others.
    let true_hz = RATES_HZ.into_iter().find(|true_hz| (frames / true_hz / secs - 1.0).abs() < SAME_LENGTH)?;
    let shift_cents = cents_between(true_hz, labelled_hz);
    if let Some((own, song)) = tuning(file).map(|tuning| tuning.cents).zip(song)
        && wrapped(own - song - shift_cents).abs() > SAME_CENTS
    {
        return None;
    }
    let message = format!(
        "Its label says {labelled_hz:.0} Hz, but it is as long as the others ({}) only at {true_hz:.0} Hz: it plays {:.1} \
         semitones too {}.",
        format_time(secs),
        shift_cents.abs() / 100.0,
        if shift_cents > 0.0 { "high and too fast" } else { "low and too slow" },
    );
    let remedy = format!("Ask for it again, or have its label set to {true_hz:.0} Hz; do not convert it.");
    Some(Problem::new(Severity::Warn, "rate-label", &file.file, message, remedy))
}

/// The length that most stems of the usual rate have: at least two, and more than half.
fn usual_frames(files: &[Incoming], rate_hz: u32) -> Option<u64> {
    let lengths: Vec<u64> = files
        .iter()
        .filter(|file| file.group().is_some() && file.info.rate_hz == rate_hz)
        .map(|file| file.facts.frames)
        .collect();
    let count = |length: u64| lengths.iter().filter(|other| **other == length).count();
    let usual = lengths.iter().copied().max_by_key(|length| count(*length))?;
    (count(usual) >= 2 && 2 * count(usual) > lengths.len()).then_some(usual)
}

/// Cents on a circle of a hundred.
fn wrapped(cents: f64) -> f64 {
    cents - 100.0 * (cents / 100.0).round()
}
