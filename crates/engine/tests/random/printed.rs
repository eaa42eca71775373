//! Random valid sheets print: no panic, nothing that is no number, nothing over the ceiling.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicU64, Ordering};

use chance::Random;
use engine::{Setup, Stream};
use units::Frame;

use crate::sheets::{RATE_HZ, sheet, songs};
use crate::songs::Keep;

/// What the limiter may be off by: design, section 5.
const TOLERANCE_DB: f64 = 0.02;

/// What came of a sheet.
enum Came {
    Printed,
    /// A processor refuses its settings, in words.
    Refused,
}

/// Reads, compiles and renders a sheet.
fn print(seed: u64) -> Result<Came, String> {
    let mut random = Random(seed);
    let ceiling_dbtp = -12.0 * random.share();
    let text = sheet(&mut random, ceiling_dbtp);
    let outcome = catch_unwind(AssertUnwindSafe(|| rendered(&text)));
    let frames = match outcome {
        Err(_) => return Err(format!("a panic\n{text}")),
        Ok(Err(problems)) => return judged(&problems).map_err(|fault| format!("{fault}\n{text}")),
        Ok(Ok(frames)) => frames,
    };
    let most = units::gain_from_db(ceiling_dbtp + TOLERANCE_DB);
    match frames.as_flattened().iter().position(|x| x.is_nan() || x.abs() > most) {
        None => Ok(Came::Printed),
        Some(at) => Err(format!("frame {} is {:?}, the ceiling {ceiling_dbtp} dBTP\n{text}", at / 2, frames[at / 2])),
    }
}

/// A second of the print, or why there is none.
fn rendered(text: &str) -> Result<Vec<Frame>, Vec<units::Problem>> {
    let songs = songs(RATE_HZ);
    let (sheet, problems) = sheet::read(text, &engine::specs());
    let plan = engine::compile(&sheet.ok_or(problems)?, &songs)?;
    let stream = Stream::open(&plan, &songs, &[plan.prints[0].step], &Setup::default());
    let mut keep = Keep::of_lanes(1);
    let run = stream.and_then(|stream| stream.run(1, vec![Box::new(&mut keep)], &|_| ()));
    run.map(|_| keep.lanes.remove(0)).map_err(|fault| vec![fault.into_problem()])
}

/// A valid sheet may meet a processor that refuses a combination of settings, and nothing else.
fn judged(problems: &[units::Problem]) -> Result<Came, String> {
    let failed: Vec<_> = problems.iter().filter(|problem| problem.severity == units::Severity::Fail).collect();
    let plain = failed.iter().all(|p| p.code == "cannot-build" && !p.message.is_empty() && !p.remedy.is_empty());
    if plain && !failed.is_empty() { Ok(Came::Refused) } else { Err(format!("{problems:#?}")) }
}

#[test]
fn random_sheets_print_numbers_under_the_ceiling() {
    let count = crate::cases(25);
    let (next, refused) = (AtomicU64::new(0), AtomicU64::new(0));
    let work = || {
        let mut faults = Vec::new();
        loop {
            let seed = next.fetch_add(1, Ordering::Relaxed);
            if seed >= count || faults.len() > 5 {
                return faults;
            }
            match print(seed) {
                Ok(Came::Printed) => {}
                Ok(Came::Refused) => drop(refused.fetch_add(1, Ordering::Relaxed)),
                Err(fault) => faults.push(format!("seed {seed}: {fault}")),
            }
        }
    };
    let faults: Vec<String> = std::thread::scope(|scope| {
        let threads: Vec<_> = (0..2).map(|_| scope.spawn(work)).collect();
        threads.into_iter().flat_map(|thread| thread.join().unwrap()).collect()
    });
    let refused = refused.into_inner();
    println!("{count} sheets, of which {refused} hold settings that a processor refuses");
    assert!(faults.is_empty(), "{} faults:\n{}", faults.len(), faults.join("\n\n"));
    assert!(refused * 4 < count, "most are printed: {refused} of {count} were not");
}
