//! What is heard of a sheet, and how: the listening sentence, the ear, the scene that they make of the plan.

use engine::Port;

use super::{MONITOR_DB, Session};
use crate::earlier::Earlier;
use crate::player::Voice;
use crate::protocol::{Ear, Hearing};
use crate::take::Scene;

impl Session {
    /// Hears something, or in another way. What is not there or out of range is put right. Tells whether the scene is
    /// another for it.
    pub fn hear(&mut self, hearing: Hearing) -> bool {
        let end_s = self.plan.print_frames() as f64 / self.plan.rate_hz;
        let brought = self.bring(&hearing.programme);
        let before = self.hearing.programme.clone();
        let known = |name: &str| self.programmes().any(|other| other == name);
        let first = || self.programmes().next().unwrap_or_default().to_owned();
        let programme = [hearing.programme, before].into_iter().find(|name| known(name)).unwrap_or_else(first);
        let [low, high] = MONITOR_DB;
        let monitor_db = if hearing.monitor_db.is_finite() { hearing.monitor_db.clamp(low, high) } else { low };
        let sound = |(from, to): &(f64, f64)| from.is_finite() && to.is_finite() && to - from >= 0.1;
        let span_s = hearing.span_s.filter(sound).map(|(from, to)| (from.max(0.0), to.min(end_s)));
        let span_s = span_s.filter(|(from, to)| to - from >= 0.1);
        self.hearing = Hearing { programme, monitor_db, span_s, ..hearing };
        brought
    }

    /// Hears more or less of the network. Names that are not there are left out.
    pub fn listen(&mut self, ear: Ear) {
        let known = |name: &String| self.sheet.node(name).is_some();
        let has = |(name, place): &(String, usize)| {
            let chain = self.sheet.node(name).map(|(_, node)| node.chain.len());
            chain.or_else(|| self.sheet.print(name).map(|print| print.chain.len())).is_some_and(|links| *place < links)
        };
        let keep = |names: Vec<String>| names.into_iter().filter(known).collect();
        let without = ear.without.into_iter().filter(has).collect();
        self.ear = Ear { alone: keep(ear.alone), silent: keep(ear.silent), without };
    }

    /// It is heard on a sound device of the machine, not on the page.
    pub fn plays_on(&mut self, device: &str) {
        self.device = Some(device.to_owned());
    }

    /// The machine's sound device that plays, if the page does not.
    #[must_use]
    pub fn device(&self) -> Option<&str> {
        self.device.as_deref()
    }

    /// The passage that is played over and over, in frames.
    #[must_use]
    pub fn span(&self) -> Option<(i64, i64)> {
        let frame = |secs: f64| units::frames_from_secs(secs, self.plan.rate_hz);
        self.hearing.span_s.map(|(from, to)| (frame(from), frame(to)))
    }

    /// A place in the song, in frames.
    #[must_use]
    pub fn frame(&self, secs: f64) -> i64 {
        let end_s = self.plan.print_frames() as f64 / self.plan.rate_hz;
        units::frames_from_secs(if secs.is_finite() { secs.clamp(0.0, end_s) } else { 0.0 }, self.plan.rate_hz)
    }

    /// The network as it is to be heard.
    #[must_use]
    pub fn scene(&self) -> Scene {
        self.scene_of(&self.ear)
    }

    /// What is heard of the network.
    #[must_use]
    pub fn ear(&self) -> &Ear {
        &self.ear
    }

    /// The network as it would be heard with another ear.
    #[must_use]
    pub fn scene_of(&self, ear: &Ear) -> Scene {
        let mut plan = self.plan.clone();
        let step = |name: &str| self.plan.step_of(name);
        let muted = self.sheet.nodes.iter().filter(|node| node.mute).map(|node| node.name.as_str());
        muted.chain(ear.silent.iter().map(String::as_str)).filter_map(step).for_each(|step| plan.silence(step));
        let alone: Vec<usize> = ear.alone.iter().filter_map(|name| step(name)).collect();
        if !alone.is_empty() {
            plan.alone(&alone);
        }
        for (place, (step, link)) in self.links() {
            plan.steps[step].links[link].off |= ear.without.contains(&place);
        }
        let nodes = self.sheet.nodes.iter().filter_map(|node| step(&node.name)).collect();
        let mut outputs: Vec<usize> = plan.prints.iter().map(|port| port.step).collect();
        outputs.extend(self.sheet.references.iter().map(|reference| plan.beside(&reference.file, 0)));
        outputs.extend(self.shelf.at_hand().map(|print| plan.beside(&print.file, print.starts_at)));
        Scene { outputs, nodes, links: self.links(), sources: self.sources.clone(), plan }
    }

    /// How the programme is listened to.
    #[must_use]
    pub fn voice(&self) -> Voice {
        let hearing = &self.hearing;
        let output = self.output(&hearing.programme).unwrap_or(0);
        let matched_db = if hearing.matched { self.matched_db(&hearing.programme) } else { 0.0 };
        Voice { output, matched_db, monitor_db: hearing.monitor_db, through: hearing.through }
    }

    /// Which of a scene's outputs a programme is.
    #[must_use]
    pub fn output(&self, programme: &str) -> Option<usize> {
        self.programmes().position(|name| name == programme)
    }

    /// Brings a programme to hand if it was printed before. Tells whether the scene is another for that.
    pub fn bring(&mut self, programme: &str) -> bool {
        let is_there = self.programmes().any(|name| name == programme);
        !is_there && self.shelf.choose(programme)
    }

    /// A print at hand of which it is not known yet where the song starts in it.
    #[must_use]
    pub fn unaligned(&self) -> Option<Earlier> {
        self.shelf.unaligned()
    }

    /// The song lies so many frames later in a print of before than it does now, and in all others of its revision.
    pub fn align_earlier(&mut self, programme: &str, late_frames: i64) {
        self.shelf.align(programme, late_frames);
    }

    /// Looks at what was printed. Tells whether that is something else than before.
    pub fn look_at_prints(&mut self) -> bool {
        let is_new = self.shelf.look();
        if is_new {
            self.hear(self.hearing.clone());
        }
        is_new
    }

    /// The gain, 0 or less, that makes a programme as loud as the quietest; 0 while its loudness is not known.
    fn matched_db(&self, programme: &str) -> f64 {
        let Some(survey) = &self.survey else { return 0.0 };
        let surveyed = survey.programmes.iter().map(|programme| (programme.name.as_str(), programme.integrated_lufs));
        let printed = self.shelf.at_hand().map(|print| (print.programme.as_str(), print.integrated_lufs));
        let known: Vec<(&str, Option<f64>)> = surveyed.chain(printed).collect();
        let quietest = known.iter().filter_map(|(_, lufs)| *lufs).fold(f64::INFINITY, f64::min);
        let lufs = known.iter().find(|(name, _)| *name == programme).and_then(|(_, lufs)| *lufs);
        lufs.map_or(0.0, |lufs| (quietest - lufs).min(0.0))
    }

    /// Prints, then references, then what was printed before and is at hand.
    pub(super) fn programmes(&self) -> impl Iterator<Item = &str> {
        let prints = self.plan.prints.iter().map(|port| port.name.as_str());
        let references = self.sheet.references.iter().map(|reference| reference.name.as_str());
        prints.chain(references).chain(self.shelf.at_hand().map(|print| print.programme.as_str()))
    }

    /// Every processor of the sheet: node or print and place in its chain; step of the plan and link in it.
    fn links(&self) -> Vec<((String, usize), (usize, usize))> {
        let mut links = Vec::new();
        for node in &self.sheet.nodes {
            let Some(step) = self.plan.step_of(&node.name) else { continue };
            links.extend((0..node.chain.len()).map(|link| ((node.name.as_str().to_owned(), link), (step, link))));
        }
        for port in &self.plan.prints {
            let count = self.sheet.print(&port.name).map_or(0, |print| print.chain.len());
            links.extend((0..count).map(|place| ((port.name.clone(), place), self.place(port, place))));
        }
        links
    }

    /// Where a processor of a print's chain is: its last part starts with the gain that is to be found.
    fn place(&self, port: &Port, place: usize) -> (usize, usize) {
        let Some(head) = port.solve_after else { return (port.step, place) };
        let ahead = self.plan.steps[head].links.len();
        if place < ahead { (head, place) } else { (port.step, place - ahead + 1) }
    }
}
