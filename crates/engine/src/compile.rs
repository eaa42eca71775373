//! Sheet to plan: order, gains, latencies, alignment, tails.

use sheet::{Link, Node, NodeKind, Print, Sheet, Tap, Target};
use units::{Problem, Settings, Severity, Value, frames_from_ms, frames_from_secs};

use crate::alignment::align;
use crate::curve::{Curve, GainLaw, Level};
use crate::fault::Fault;
use crate::plan::{Feed, Input, LIMITER, Plan, PlanLink, Port, Role, Step};

/// Tails longer than this are cut: nothing that sounds on for a minute is meant to.
const LONGEST_TAIL_S: f64 = 60.0;

/// No song is longer: a length or a time beyond a day is a slip or a damaged header, and its print would fill the disk.
const LONGEST_SECS: f64 = 24.0 * 3600.0;

/// What a plan needs to know about the files that a sheet names.
pub trait Facts {
    /// Frames of an audio file at the song's rate, or what is wrong with it.
    ///
    /// # Errors
    /// The file is missing, unreadable, or of a kind that cannot be used.
    fn frames(&self, file: &str) -> Result<u64, Fault>;

    /// The channels of a whole audio file at the song's rate, for impulse responses, or what is wrong with it.
    ///
    /// # Errors
    /// As for [`Facts::frames`].
    fn audio(&self, file: &str) -> Result<dsp::Channels, Fault>;
}

/// Compiles a sheet.
///
/// # Errors
/// Every problem found: files that cannot be read, processors that cannot be built, loops.
pub fn compile(sheet: &Sheet, facts: &dyn Facts) -> Result<Plan, Vec<Problem>> {
    let mut compiler = Compiler {
        sheet,
        facts,
        rate_hz: f64::from(sheet.song.rate_hz),
        steps: Vec::new(),
        step_of: vec![None; sheet.nodes.len()],
        problems: Vec::new(),
    };
    let song_frames = compiler.song_frames();
    for node in compiler.order() {
        compiler.node(node);
    }
    let prints: Vec<Port> = sheet.prints.iter().filter_map(|print| compiler.print(print)).collect();
    if !compiler.problems.is_empty() {
        return Err(compiler.problems);
    }
    let longest = (LONGEST_TAIL_S * compiler.rate_hz) as u64;
    let tail_frames = prints.iter().map(|port| compiler.steps[port.step].tail_frames).max().unwrap_or(0).min(longest);
    Ok(Plan {
        rate_hz: compiler.rate_hz,
        tempo_bpm: sheet.song.pulse_bpm(),
        steps: compiler.steps,
        prints,
        song_frames,
        tail_frames,
    })
}

fn too_long(stem: &str, file: &sheet::Name) -> Problem {
    let message = format!("{stem} would end more than a day after the start of the song.");
    let remedy = "Correct its time `from`, or export its file again.".to_owned();
    Problem::new(Severity::Fail, "too-long", stem, message, remedy).at_place(file.place())
}

struct Compiler<'a> {
    sheet: &'a Sheet,
    facts: &'a dyn Facts,
    rate_hz: f64,
    steps: Vec<Step>,
    step_of: Vec<Option<usize>>,
    problems: Vec<Problem>,
}

impl<'a> Compiler<'a> {
    fn song_frames(&mut self) -> u64 {
        let mut last = 0;
        for node in self.sheet.stems().filter(|node| !node.mute) {
            let NodeKind::Stem { file, from_secs, .. } = &node.kind else { continue };
            match self.facts.frames(file) {
                Ok(frames) => {
                    let end = frames_from_secs(*from_secs, self.rate_hz).saturating_add_unsigned(frames);
                    if end > frames_from_secs(LONGEST_SECS, self.rate_hz) {
                        self.problems.push(too_long(&node.name, file));
                        continue;
                    }
                    last = last.max(end.max(0).unsigned_abs());
                }
                Err(fault) => self.problems.push(fault.into_problem().at_place(file.place())),
            }
        }
        last
    }

    /// Nodes in an order in which each comes after all that feed it (Kahn's algorithm).
    fn order(&mut self) -> Vec<usize> {
        let nodes: &'a [Node] = &self.sheet.nodes;
        let index_of: std::collections::HashMap<&str, usize> =
            nodes.iter().enumerate().map(|(index, node)| (node.name.as_str(), index)).collect();
        let mut feeds: Vec<Vec<usize>> = vec![Vec::new(); nodes.len()];
        let mut waits_for = vec![0_usize; nodes.len()];
        for (index, node) in nodes.iter().enumerate() {
            let sinks = node.to.iter().chain(node.sends.iter().map(|send| &send.to));
            for sink in sinks.filter_map(|name| index_of.get(name.as_str())) {
                feeds[index].push(*sink);
                waits_for[*sink] += 1;
            }
            let keys = node.chain.iter().filter_map(|link| link.key.as_ref());
            for key in keys.filter_map(|name| index_of.get(name.as_str())) {
                feeds[*key].push(index);
                waits_for[index] += 1;
            }
        }
        let mut order: Vec<usize> = (0..nodes.len()).filter(|index| waits_for[*index] == 0).collect();
        let mut next = 0;
        while let Some(index) = order.get(next).copied() {
            next += 1;
            for sink in &feeds[index] {
                waits_for[*sink] -= 1;
                if waits_for[*sink] == 0 {
                    order.push(*sink);
                }
            }
        }
        if let Some(index) = waits_for.iter().position(|waits| *waits > 0) {
            let node = &nodes[index];
            let message = format!("“{}” feeds itself through other buses.", node.name);
            let remedy = "Break the loop: take one of its sends or routes away.".to_owned();
            self.problems
                .push(Problem::new(Severity::Fail, "loop", &node.name, message, remedy).at_place(node.place()));
        }
        order
    }

    fn node(&mut self, index: usize) {
        let node: &'a Node = &self.sheet.nodes[index];
        let (feed, arrives, mut tail_frames) = match &node.kind {
            NodeKind::Stem { file, from_secs, .. } => {
                let starts_at = frames_from_secs(*from_secs, self.rate_hz);
                (Feed::File { path: file.as_str().to_owned(), starts_at }, 0, 0)
            }
            NodeKind::Bus => self.sum_into(node),
        };
        let delay_frames = frames_from_ms(node.delay_ms, self.rate_hz);
        tail_frames += delay_frames as u64;
        let rides_of = |link: usize| -> Vec<_> {
            let on_link = |ride: &sheet::Ride| match ride.what {
                Target::Processor { link: on, at } if on == link => Some((at, Curve::new(&ride.points, self.rate_hz))),
                _ => None,
            };
            node.rides.iter().filter_map(on_link).collect()
        };
        let chain: Vec<Link> = self.sheet.processors(node).cloned().collect();
        let rides = (0..chain.len()).map(rides_of).collect();
        let (links, leaves, chain_tail) = self.chain(&node.name, &chain, arrives, rides);
        let trim = GainLaw { inverted: node.inverted, ..GainLaw::of(self.level(node, Target::Trim, node.trim_db)) };
        self.step_of[index] = Some(self.steps.len());
        self.steps.push(Step {
            name: node.name.as_str().to_owned(),
            role: if node.is_stem() { Role::Stem } else { Role::Bus },
            feed,
            cut: false,
            trim,
            delay_frames,
            links,
            arrives,
            leaves,
            tail_frames: tail_frames + chain_tail,
        });
    }

    /// All paths into a bus, aligned; how late the sum is, and the longest tail that comes in.
    fn sum_into(&self, bus: &Node) -> (Feed, usize, u64) {
        let mut inputs = Vec::new();
        for (index, node) in self.sheet.nodes.iter().enumerate().filter(|(_, node)| !node.mute) {
            let Some(from) = self.step_of[index] else { continue };
            if node.to.as_ref() == Some(&bus.name) {
                inputs.push(Input { from, law: self.fader(node), align_frames: 0 });
            }
            for (send_index, send) in node.sends.iter().enumerate().filter(|(_, send)| send.to == bus.name) {
                inputs.push(Input { from, law: self.send(node, send_index, send.tap), align_frames: 0 });
            }
        }
        self.sum(inputs)
    }

    fn sum(&self, mut inputs: Vec<Input>) -> (Feed, usize, u64) {
        let arrivals: Vec<usize> = inputs.iter().map(|input| self.steps[input.from].leaves).collect();
        let (latest, waits) = align(&arrivals);
        inputs.iter_mut().zip(waits).for_each(|(input, wait)| input.align_frames = wait);
        let tail = inputs.iter().map(|input| self.steps[input.from].tail_frames).max().unwrap_or(0);
        (Feed::Sum(inputs), latest, tail)
    }

    /// Level and pan of a node, with what rides elsewhere hand on to it.
    fn fader(&self, node: &Node) -> GainLaw {
        let mut level = self.level(node, Target::Level, node.level_db);
        level.rides.extend(self.handed_on_to(node));
        GainLaw {
            levels: vec![level],
            pan_percent: self.level(node, Target::Pan, node.pan_percent),
            inverted: false,
            muted: node.mute,
        }
    }

    /// A send. One that is ridden with `hold_drive`, itself or through its node's level, stays at rest: the return
    /// moves instead (see `handed_on_to`).
    fn send(&self, node: &Node, index: usize, tap: Tap) -> GainLaw {
        let mut law = match tap {
            Tap::Pre => GainLaw { muted: node.mute, ..GainLaw::unity() },
            Tap::Post => self.fader(node),
        };
        let held = |what: Target| node.rides.iter().any(|ride| ride.what == what && ride.hold_drive);
        if tap == Tap::Post && held(Target::Level) {
            law.levels = vec![Level::at(node.level_db)];
        }
        let rest_db = node.sends[index].level_db;
        let what = Target::SendLevel(index);
        law.levels.push(if held(what) { Level::at(rest_db) } else { self.level(node, what, rest_db) });
        law
    }

    /// Rides of other nodes, with `hold_drive`, whose movement this return makes in their stead.
    fn handed_on_to(&self, bus: &Node) -> Vec<Curve> {
        let mut curves = Vec::new();
        for node in &self.sheet.nodes {
            for ride in node.rides.iter().filter(|ride| ride.hold_drive) {
                for (index, send) in node.sends.iter().enumerate().filter(|(_, send)| send.to == bus.name) {
                    let rest_db = match ride.what {
                        Target::Level if send.tap == Tap::Post => node.level_db,
                        Target::SendLevel(ridden) if ridden == index => send.level_db,
                        _ => continue,
                    };
                    curves.push(Curve::new(&ride.points, self.rate_hz).raised_by(-rest_db));
                }
            }
        }
        curves
    }

    /// A level of a node: at rest, or where its ride takes it.
    fn level(&self, node: &Node, what: Target, rest: f64) -> Level {
        match node.rides.iter().find(|ride| ride.what == what) {
            None => Level::at(rest),
            Some(ride) => Level { rest_db: 0.0, rides: vec![Curve::new(&ride.points, self.rate_hz)] },
        }
    }

    /// The links of a chain that starts `arrives` frames late; how late it ends; its tail.
    fn chain(
        &mut self,
        owner: &str,
        chain: &[Link],
        arrives: usize,
        rides: Vec<Vec<(units::At, Curve)>>,
    ) -> (Vec<PlanLink>, usize, u64) {
        let (mut now, mut tail) = (arrives, 0);
        let mut links = Vec::with_capacity(chain.len());
        for (link, rides) in chain.iter().zip(rides.into_iter().chain(std::iter::repeat_with(Vec::new))) {
            let key = link
                .key
                .as_ref()
                .and_then(|name| self.sheet.node(name))
                .and_then(|(index, node)| Some((self.step_of[index]?, self.fader(node))));
            let key_leaves = key.as_ref().map(|(from, _)| self.steps[*from].leaves);
            let latest = key_leaves.unwrap_or(0).max(now);
            let key = key.map(|(from, law)| Input { from, law, align_frames: latest - self.steps[from].leaves });
            let (latency_frames, link_tail) = self.latency_and_tail(owner, link);
            let wait_frames = latest - now;
            let settings = link.settings.clone();
            links.push(PlanLink { settings, off: link.off, key, wait_frames, latency_frames, arrives: latest, rides });
            now = latest + latency_frames;
            tail += if link.off { 0 } else { link_tail };
        }
        (links, now, tail)
    }

    /// Builds a processor once, to ask how long it takes. Its own type is the only one that knows.
    fn latency_and_tail(&mut self, owner: &str, link: &Link) -> (usize, u64) {
        let at = format!("{owner}, {}", link.settings.spec().title);
        if self.sheet.song.tempo_bpm.is_none() && !link.off && follows_tempo(&link.settings) {
            let message = format!(
                "Its time is a note value, and the sheet names no tempo: {} beats a minute are taken.",
                self.sheet.song.pulse_bpm()
            );
            let remedy = "Write `tempo_bpm` below `[song]`, or its time in ms.".to_owned();
            self.problems.push(Problem::new(Severity::Warn, "no-tempo", &at, message, remedy).at_place(link.place));
        }
        let audio = |file: &str| self.facts.audio(file).map_err(Fault::into_build_error);
        let context = dsp::Context {
            rate_hz: self.rate_hz,
            lanes: 1,
            tempo_bpm: self.sheet.song.pulse_bpm(),
            first_frame: 0,
            audio: &audio,
        };
        match crate::step::build(&link.settings, &context) {
            Ok(processor) => (processor.latency_frames(), processor.tail_frames() as u64),
            Err(error) => {
                let problem = Problem::new(Severity::Fail, "cannot-build", &at, error.message, error.remedy);
                self.problems.push(problem.at_place(link.place));
                (0, 0)
            }
        }
    }

    /// A print's steps: one, or two where a gain ahead of its limiter is to be found.
    fn print(&mut self, print: &Print) -> Option<Port> {
        let (index, bus) = self.sheet.node(&print.from)?;
        let from = self.step_of[index]?;
        let (feed, arrives, tail) = self.sum(vec![Input { from, law: self.fader(bus), align_frames: 0 }]);
        let name = print.name.as_str().to_owned();
        if print.loudness.is_none() && print.survive.is_empty() {
            let step = self.print_step(&name, &print.chain, feed, arrives, tail);
            return Some(Port { name, step, solve_after: None });
        }
        let is_limiter = |link: &Link| link.settings.spec().name == LIMITER && !link.off;
        let cut = print.chain.iter().rposition(is_limiter).unwrap_or(print.chain.len());
        let head = self.print_step(&name, &print.chain[..cut], feed, arrives, tail);
        let leaves = self.steps[head].leaves;
        let feed = Feed::Sum(vec![Input { from: head, law: GainLaw::unity(), align_frames: 0 }]);
        let mut ending = print.chain[cut..].to_vec();
        let gain = dsp::entry("trim").map(|entry| units::Settings::defaults(entry.spec))?;
        ending.insert(0, Link { settings: gain, off: false, key: None, place: print.name.place() });
        let step = self.print_step(&name, &ending, feed, leaves, self.steps[head].tail_frames);
        // The search for the gain renders this step from a file, and every other render gives the same samples.
        self.steps[step].cut = true;
        Some(Port { name, step, solve_after: Some(head) })
    }

    fn print_step(&mut self, name: &str, chain: &[Link], feed: Feed, arrives: usize, tail: u64) -> usize {
        let (links, leaves, chain_tail) = self.chain(name, chain, arrives, Vec::new());
        self.steps.push(Step {
            name: name.to_owned(),
            role: Role::Print,
            feed,
            cut: false,
            trim: GainLaw::unity(),
            delay_frames: 0,
            links,
            arrives,
            leaves,
            tail_frames: tail + chain_tail,
        });
        self.steps.len() - 1
    }
}

/// The settings of the processor that puts samples on the grid of an integer file.
pub(crate) fn dither_settings(bits: u32, dither: sheet::Dither) -> Result<units::Settings, Fault> {
    let kind = match dither {
        sheet::Dither::None => "none",
        sheet::Dither::Tpdf => "tpdf",
        sheet::Dither::Shaped => "shaped",
    };
    let missing = || Fault::input("cannot-build", "dither", "There is no dither.".to_owned(), String::new());
    let spec = dsp::entry("dither").ok_or_else(missing)?.spec;
    let mut settings = units::Settings::defaults(spec);
    for (index, param) in spec.params.iter().enumerate() {
        let at = units::At { row: None, param: index };
        match (param.name, param.kind) {
            ("bits", _) => {
                settings.set(at, units::Value::Number(f64::from(bits)));
            }
            ("kind", units::Kind::Choice { options, .. }) => {
                let word = options.iter().position(|option| *option == kind).unwrap_or(0);
                settings.set(at, units::Value::Choice(word));
            }
            _ => {}
        }
    }
    Ok(settings)
}

/// Whether a processor's time is a note value.
fn follows_tempo(settings: &Settings) -> bool {
    let note = settings.spec().param("note");
    note.is_some_and(|(index, _)| settings.values()[index] != Value::Choice(0))
}
