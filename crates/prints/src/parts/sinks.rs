//! What takes the lanes of a print: alternates as sums of lanes, the files of stems, and how well lanes sum to the print.

use engine::{Fault, Grid, Sink, Taken};
use media::Writer;
use sheet::FileSpec;
use units::{Frame, SILENCE, db_from_gain, db_from_power};

use crate::files::Pending;
use crate::spool::{Gauge, media_fault};

/// A sum of lanes, each at its gain, on its way to files and a gauge.
pub(super) struct Blend<'a> {
    gains: Vec<f64>,
    sum: Vec<Frame>,
    files: &'a mut [Pending],
    gauge: &'a mut Gauge,
}

impl<'a> Blend<'a> {
    /// A sum with a gain for each lane beside the key.
    pub fn new(gains: &[f64], files: &'a mut [Pending], gauge: &'a mut Gauge) -> Self {
        Self { gains: gains.to_vec(), sum: Vec::new(), files, gauge }
    }
}

impl Sink for Blend<'_> {
    fn take(&mut self, taken: &Taken<'_>) -> Result<(), Fault> {
        start(&mut self.sum, taken.lane(0).len());
        for (lane, gain) in self.gains.iter().enumerate().filter(|(_, gain)| **gain != 0.0) {
            add(&mut self.sum, taken.lane(lane + 1), *gain);
        }
        self.gauge.push(&self.sum);
        self.files.iter_mut().try_for_each(|file| file.push(&self.sum))
    }
}

fn start(sum: &mut Vec<Frame>, frames: usize) {
    sum.clear();
    sum.resize(frames, SILENCE);
}

fn add(sum: &mut [Frame], lane: &[Frame], gain: f64) {
    for (sum, frame) in sum.iter_mut().zip(lane) {
        *sum = [sum[0] + gain * frame[0], sum[1] + gain * frame[1]];
    }
}

/// How well all lanes sum to the key, and how much of it the residue is.
pub(super) struct Balance {
    lanes: usize,
    sum: Vec<Frame>,
    worst: f64,
    residue: f64,
    key: f64,
}

impl Balance {
    /// Of so many lanes beside the key.
    pub fn new(lanes: usize) -> Self {
        Self { lanes, sum: Vec::new(), worst: 0.0, residue: 0.0, key: 0.0 }
    }

    /// Peak of the difference; none if there is none.
    pub fn null_dbfs(&self) -> Option<f64> {
        (self.worst > 0.0).then(|| db_from_gain(self.worst))
    }

    /// Power of the residue against that of the key; none if there is no residue.
    pub fn residue_share_db(&self) -> Option<f64> {
        (self.residue > 0.0 && self.key > 0.0).then(|| db_from_power(self.residue / self.key))
    }
}

impl Sink for &mut Balance {
    fn take(&mut self, taken: &Taken<'_>) -> Result<(), Fault> {
        let key = taken.lane(0);
        start(&mut self.sum, key.len());
        for lane in 1..=self.lanes {
            add(&mut self.sum, taken.lane(lane), 1.0);
        }
        self.worst = largest_difference(self.worst, key, &self.sum);
        let power = |frames: &[Frame]| -> f64 { frames.iter().map(|[l, r]| l * l + r * r).sum() };
        self.residue += power(taken.lane(self.lanes));
        self.key += power(key);
        Ok(())
    }
}

pub(super) fn largest_difference(before: f64, a: &[Frame], b: &[Frame]) -> f64 {
    let differences = a.iter().zip(b).map(|(a, b)| (a[0] - b[0]).abs().max((a[1] - b[1]).abs()));
    differences.fold(before, f64::max)
}

/// The files of a print in stems, in one format.
///
/// Every stem is rounded with noise of its own. The residue's file takes what is left between the print's samples, as
/// its own file of this format has them, and the sum of the stems' samples: differences of numbers on one grid are on
/// that grid, so that all files together are the print, to the bit.
pub(super) struct StemFiles<'a> {
    groups: &'a [Vec<usize>],
    writers: Vec<Writer>,
    grids: Vec<Grid>,
    print: Writer,
    print_grid: Option<Grid>,
    left: Vec<Frame>,
    part: Vec<Frame>,
    /// Samples of each stem that lie outside an integer file's range.
    pub beyond: Vec<u64>,
}

impl<'a> StemFiles<'a> {
    /// Files for groups of lanes, the residue's group last; `writers` has one for each; `print` takes the print's samples.
    ///
    /// # Errors
    /// The dither cannot be built.
    pub fn new(
        spec: &FileSpec,
        rate_hz: f64,
        groups: &'a [Vec<usize>],
        writers: Vec<Writer>,
        print: Writer,
    ) -> Result<Self, Fault> {
        let stems = groups.len() as u32 - 1;
        let rounding = spec.format.rounding();
        let grid = |noise| rounding.map(|(bits, dither)| Grid::new(bits, dither, noise, rate_hz)).transpose();
        let grids: Vec<Option<Grid>> = (1..=stems).map(grid).collect::<Result<_, _>>()?;
        Ok(Self {
            groups,
            beyond: vec![0; writers.len()],
            writers,
            grids: grids.into_iter().flatten().collect(),
            print,
            print_grid: grid(0)?,
            left: Vec::new(),
            part: Vec::new(),
        })
    }

    /// Completes all files.
    ///
    /// # Errors
    /// The disk is full or gone.
    pub fn finish(self) -> Result<(), Fault> {
        for writer in self.writers {
            writer.finish().map_err(|error| media_fault(&error))?;
        }
        self.print.finish_without_sync().map(|_| ()).map_err(|error| media_fault(&error))
    }
}

/// Rounds to what a file holds.
fn round(grid: Option<&mut Grid>, frames: &mut [Frame]) {
    match grid {
        Some(grid) => grid.put(frames),
        None => frames.iter_mut().for_each(|frame| *frame = frame.map(|sample| f64::from(sample as f32))),
    }
}

impl Sink for &mut StemFiles<'_> {
    fn take(&mut self, taken: &Taken<'_>) -> Result<(), Fault> {
        self.left.clear();
        self.left.extend_from_slice(taken.lane(0));
        round(self.print_grid.as_mut(), &mut self.left);
        self.print.write(&self.left).map_err(|error| media_fault(&error))?;
        let Some(residue) = self.writers.len().checked_sub(1) else { return Ok(()) };
        for (group, lanes) in self.groups[..residue].iter().enumerate() {
            start(&mut self.part, self.left.len());
            lanes.iter().for_each(|lane| add(&mut self.part, taken.lane(lane + 1), 1.0));
            let beyond = self.part.as_flattened().iter().filter(|sample| sample.abs() > 1.0).count();
            self.beyond[group] += beyond as u64;
            round(self.grids.get_mut(group), &mut self.part);
            self.writers[group].write(&self.part).map_err(|error| media_fault(&error))?;
            add(&mut self.left, &self.part, -1.0);
        }
        self.writers[residue].write(&self.left).map_err(|error| media_fault(&error))
    }
}
