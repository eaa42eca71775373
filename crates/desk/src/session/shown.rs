//! Everything that the page shows of a session.

use super::Session;
use crate::card;
use crate::protocol::{self, Finding, View};

impl Session {
    /// Everything that the page shows.
    #[must_use]
    pub fn view(&self) -> View {
        let seconds = |frames: u64| frames as f64 / self.plan.rate_hz;
        let song = &self.sheet.song;
        let node = |node: &sheet::Node| protocol::Node {
            name: node.name.as_str().to_owned(),
            role: card::role(&self.sheet, node),
            to: node.to.as_ref().map(|to| to.as_str().to_owned()),
            sends: node.sends.iter().map(|send| send.to.as_str().to_owned()).collect(),
            mute: node.mute,
            expect_silence: matches!(node.kind, sheet::NodeKind::Stem { expect_silence: true, .. }),
            card: card::of_node(node),
        };
        let print = |print: &sheet::Print| protocol::Print {
            name: print.name.as_str().to_owned(),
            from: print.from.as_str().to_owned(),
            card: card::of_print(print),
        };
        let offer = |spec: &'static units::Spec| protocol::Offer {
            name: spec.name.to_owned(),
            title: spec.title.to_owned(),
            summary: spec.summary.to_owned(),
        };
        View {
            song: protocol::Song {
                title: song.title.clone(),
                artist: song.artist.clone(),
                rate_hz: song.rate_hz,
                length_s: seconds(self.plan.song_frames),
                tail_s: seconds(self.plan.tail_frames),
                sheet: self.path.file_name().unwrap_or_default().to_string_lossy().into_owned(),
                unsaved: self.is_unsaved(),
                undo: self.past.would_undo().map(str::to_owned),
                redo: self.past.would_redo().map(str::to_owned),
                changed_outside: self.changed_outside,
                unsaved_before: self.unsaved_before.is_some(),
            },
            sections: self.sheet.sections.iter().map(section).collect(),
            nodes: self.sheet.nodes.iter().map(node).collect(),
            prints: self.sheet.prints.iter().map(print).collect(),
            references: self.sheet.references.iter().map(|r| r.name.as_str().to_owned()).collect(),
            earlier: self.shelf.all(),
            hearing: self.hearing.clone(),
            device: self.device.clone(),
            codecs: protocol::codecs(),
            ear: self.ear.clone(),
            findings: self.findings(),
            advice_holds: self.advised.as_ref().map(|(text, _)| *text == self.text),
            notes: self.notes.clone(),
            versions: self.versions.clone(),
            catalogue: engine::specs().into_iter().map(offer).collect(),
        }
    }

    /// What the sheet has wrong with it, then what advice found, then what the last print run found: each once.
    fn findings(&self) -> Vec<Finding> {
        let mut all: Vec<Finding> = self.problems.iter().map(Finding::of).collect();
        let advised = self.advised.iter().flat_map(|(_, findings)| findings);
        for one in advised.chain(&self.reported) {
            let is_known = |own: &Finding| own.code == one.code && own.at == one.at;
            let is_another = |own: &Finding| own.advised && one.advised && own.message != one.message;
            if !all.iter().any(|own| is_known(own) && !is_another(own)) {
                all.push(one.clone());
            }
        }
        all
    }
}

fn section(section: &sheet::Section) -> protocol::Section {
    protocol::Section { name: section.name.as_str().to_owned(), from_s: section.from_secs }
}
