//! A sound card of the machine.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{self, Sender};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{ErrorKind, FromSample, SampleFormat, SizedSample, StreamConfig, SupportedStreamConfigRange};
use engine::Fault;

use super::ring::{Grants, Tap, ring};
use super::{Feed, shown};
use crate::player::Order;

/// How often the player is granted more.
const LOOK: Duration = Duration::from_millis(3);
/// Formats of a card that it can be given, best first.
const FORMATS: [SampleFormat; 3] = [SampleFormat::F32, SampleFormat::I32, SampleFormat::I16];
/// What a card may tell that is no fault.
const GOES_ON: [ErrorKind; 3] = [ErrorKind::Xrun, ErrorKind::DeviceChanged, ErrorKind::RealtimeDenied];
/// Frames that are made at once for a card of another format.
const AT_ONCE: usize = 256;

/// A sound device that plays, until it is dropped.
pub(crate) struct Device {
    name: String,
    ended: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Device {
    /// Opens the device whose name holds `wanted`, or the machine's own choice if that is empty, at the song's rate. The
    /// player is granted frames by `orders`; `lost` is told if the device is gone.
    ///
    /// # Errors
    /// There is no such device, or it cannot play at this rate.
    pub(crate) fn open(
        wanted: &str,
        rate_hz: u32,
        orders: Sender<Order>,
        lost: impl Fn(Fault) + Send + 'static,
    ) -> Result<(Self, Feed), Fault> {
        let (mut producing, tap, grants) = ring(f64::from(rate_hz));
        let ended = Arc::new(AtomicBool::new(false));
        let (told, tells) = mpsc::channel();
        let (asked, until) = (wanted.to_owned(), ended.clone());
        // A stream stays on the thread that has opened it: some systems want that.
        let thread = thread::spawn(move || match start(&asked, rate_hz, tap, lost) {
            Ok((name, stream)) => {
                let _ = told.send(Ok(name));
                grant(grants, &orders, &until);
                drop(stream);
            }
            Err(fault) => drop(told.send(Err(fault))),
        });
        let name = tells.recv().unwrap_or_else(|_| Err(refused(wanted, "it does not answer")))?;
        let feed: Feed = Box::new(move |frames| producing.push(frames));
        Ok((Self { name, ended, thread: Some(thread) }, feed))
    }

    /// What it is called.
    pub(crate) fn name(&self) -> &str {
        &self.name
    }
}

impl Drop for Device {
    fn drop(&mut self) {
        self.ended.store(true, Ordering::Relaxed);
        self.thread.take().map(JoinHandle::join);
    }
}

fn grant(mut grants: Grants, orders: &Sender<Order>, until: &AtomicBool) {
    while !until.load(Ordering::Relaxed) {
        let due = grants.due();
        if due > 0 && orders.send(Order::Credit(due)).is_err() {
            return;
        }
        thread::sleep(LOOK);
    }
}

fn start(
    wanted: &str,
    rate_hz: u32,
    tap: Tap,
    lost: impl Fn(Fault) + Send + 'static,
) -> Result<(String, cpal::Stream), Fault> {
    let (name, device) = find(wanted)?;
    let failed = |error: cpal::Error| refused(&name, &error.to_string());
    let rank = |range: &SupportedStreamConfigRange| FORMATS.iter().position(|format| *format == range.sample_format());
    let can = |range: &SupportedStreamConfigRange| {
        rank(range).is_some() && (range.min_sample_rate()..=range.max_sample_rate()).contains(&rate_hz)
    };
    // Two channels if it has them, then the best format, then as few others as there are.
    let worth = |range: &SupportedStreamConfigRange| (range.channels() < 2, rank(range), range.channels());
    let range = device.supported_output_configs().map_err(failed)?.filter(can).min_by_key(worth);
    let config = range.ok_or_else(|| refused(&name, &format!("it does not play at {rate_hz} Hz")))?;
    let config = config.with_sample_rate(rate_hz);
    let gone = name.clone();
    let lost = move |error: cpal::Error| {
        // Where a card stumbles or another takes its place, it goes on by itself.
        if !GOES_ON.contains(&error.kind()) {
            lost(refused(&gone, &error.to_string()));
        }
    };
    let stream = match config.sample_format() {
        SampleFormat::I16 => stream::<i16>(&device, config.config(), tap, lost),
        SampleFormat::I32 => stream::<i32>(&device, config.config(), tap, lost),
        _ => stream::<f32>(&device, config.config(), tap, lost),
    };
    let stream = stream.map_err(failed)?;
    stream.play().map_err(failed)?;
    Ok((name, stream))
}

/// A device with its name.
fn find(wanted: &str) -> Result<(String, cpal::Device), Fault> {
    let named = |device: &cpal::Device| device.to_string();
    let host = cpal::default_host();
    if wanted.is_empty() {
        let device = host.default_output_device().ok_or_else(|| refused(wanted, "there is none"))?;
        return Ok((named(&device), device));
    }
    let devices = host.output_devices().map_err(|error| refused(wanted, &error.to_string()))?;
    let mut names = Vec::new();
    for device in devices {
        let name = named(&device);
        if name.contains(wanted) || device.id().is_ok_and(|id| id.to_string().ends_with(wanted)) {
            return Ok((name, device));
        }
        names.push(format!("“{name}”"));
    }
    names.dedup();
    Err(refused(wanted, &format!("there is none of that name; there are {}", names.join(", "))))
}

/// A stream in the card's own format.
fn stream<T: SizedSample + FromSample<f32>>(
    device: &cpal::Device,
    config: StreamConfig,
    mut tap: Tap,
    lost: impl Fn(cpal::Error) + Send + 'static,
) -> Result<cpal::Stream, cpal::Error> {
    let channels = usize::from(config.channels);
    let mut some = vec![0.0_f32; AT_ONCE * channels];
    let fill = move |out: &mut [T], _: &cpal::OutputCallbackInfo| {
        for out in out.chunks_mut(some.len()) {
            let some = &mut some[..out.len()];
            tap.fill(some, channels);
            out.iter_mut().zip(some).for_each(|(out, sample)| *out = T::from_sample(*sample));
        }
    };
    device.build_output_stream(config, fill, lost, None)
}

fn refused(wanted: &str, why: &str) -> Fault {
    let at = shown(wanted);
    let message = format!("“{at}” cannot be played on: {why}.");
    let remedy = "Name another with `--device=NAME`, or leave it out: then the page plays.".to_owned();
    Fault::machine("no-device", at, message, remedy)
}
