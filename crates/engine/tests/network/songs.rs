//! Songs in memory for the tests of the network.

use std::collections::HashMap;
use std::sync::Arc;

use engine::{Facts, Fault, Plan, Playback, Setup, Sink, Sources, Stream, Taken};
use units::Frame;

/// Recordings by name.
#[derive(Default)]
pub struct Songs(HashMap<String, Arc<[Frame]>>);

impl Songs {
    pub fn with(mut self, name: &str, frames: Vec<Frame>) -> Self {
        self.0.insert(name.to_owned(), frames.into());
        self
    }
}

impl Facts for Songs {
    fn frames(&self, file: &str) -> Result<u64, Fault> {
        let missing = || Fault::input("missing", file, format!("{file} is missing"), String::new());
        self.0.get(file).map(|frames| frames.len() as u64).ok_or_else(missing)
    }

    fn audio(&self, file: &str) -> Result<dsp::Channels, Fault> {
        self.frames(file)?;
        Ok([0, 1].map(|c| self.0[file].iter().map(|frame| frame[c]).collect()).into_iter().collect())
    }
}

impl Sources for Songs {
    fn open(&self, file: &str) -> Result<Box<dyn Playback>, Fault> {
        self.frames(file)?;
        Ok(Box::new(Playing { frames: self.0[file].clone(), at: 0 }))
    }
}

struct Playing {
    frames: Arc<[Frame]>,
    at: usize,
}

impl Playback for Playing {
    fn read(&mut self, out: &mut [Frame]) -> Result<usize, Fault> {
        let length = out.len().min(self.frames.len() - self.at);
        out[..length].copy_from_slice(&self.frames[self.at..self.at + length]);
        self.at += length;
        Ok(length)
    }
}

/// Keeps all lanes of an output.
#[derive(Default)]
pub struct Keep {
    pub lanes: Vec<Vec<Frame>>,
}

impl Keep {
    pub fn of_lanes(lanes: usize) -> Self {
        Self { lanes: vec![Vec::new(); lanes] }
    }
}

impl Sink for &mut Keep {
    fn take(&mut self, taken: &Taken<'_>) -> Result<(), Fault> {
        for (index, lane) in self.lanes.iter_mut().enumerate() {
            lane.extend_from_slice(taken.lane(index));
        }
        Ok(())
    }
}

/// The plan of a sheet's text.
pub fn plan(text: &str, songs: &impl Facts) -> Plan {
    let (sheet, problems) = sheet::read(text, &engine::specs());
    let sheet = sheet.unwrap_or_else(|| panic!("{problems:#?}"));
    engine::compile(&sheet, songs).unwrap_or_else(|problems| panic!("{problems:#?}"))
}

/// What the first print gives.
pub fn render(text: &str, songs: &impl Sources) -> Vec<Frame> {
    render_with(text, songs, &Setup::default(), 1).remove(0)
}

/// All lanes of the first print.
pub fn render_with(text: &str, songs: &impl Sources, setup: &Setup, threads: usize) -> Vec<Vec<Frame>> {
    let plan = plan(text, songs);
    let stream = Stream::open(&plan, songs, &[plan.prints[0].step], setup).unwrap();
    let mut keep = Keep::of_lanes(stream.lanes());
    stream.run(threads, vec![Box::new(&mut keep)], &|_| ()).unwrap();
    keep.lanes
}

/// Noise, the same for the same seed.
pub fn noise(frames: usize, seed: u64) -> Vec<Frame> {
    chance::Random(seed).signal(frames, 0.5)
}

/// One frame of full scale at `at`, silence around it.
pub fn impulse(frames: usize, at: usize) -> Vec<Frame> {
    let mut silence = vec![[0.0, 0.0]; frames];
    silence[at] = [1.0, 1.0];
    silence
}

/// Level of the largest difference between two signals, in dB of full scale.
pub fn difference_db(a: &[Frame], b: &[Frame]) -> f64 {
    assert_eq!(a.len(), b.len());
    let largest =
        a.iter().zip(b).flat_map(|(a, b)| [a[0] - b[0], a[1] - b[1]]).fold(0.0_f64, |most, d| most.max(d.abs()));
    units::db_from_gain(largest)
}
