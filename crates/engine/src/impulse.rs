//! What a step's equalisers do to the left and the right channel, as impulse responses: for verdicts on the image.

use units::{Block, Frame, MAX_BLOCK_FRAMES, SILENCE};

use crate::plan::PlanLink;
use crate::step::build;

/// Small enough that no band that moves with the level moves.
const IMPULSE: f64 = 1e-6;

/// Responses of a chain's one-sided equalisers, those that work on the middle, the sides, the left or the right alone,
/// to an impulse in the left channel and to one in the right. Equalisers of both channels are left out: they turn
/// everything alike. None if there is nothing one-sided.
#[must_use]
pub fn one_sided_responses(links: &[PlanLink], rate_hz: f64, frames: usize) -> Option<[Vec<Frame>; 2]> {
    let one_sided = |link: &&PlanLink| {
        let settings = &link.settings;
        !link.off && settings.spec().name == dsp::eq::SPEC.name && settings.choice(&dsp::eq::OF) != 0
    };
    let links: Vec<&PlanLink> = links.iter().filter(one_sided).collect();
    if links.is_empty() {
        return None;
    }
    let response = |first: Frame| {
        let mut song = vec![SILENCE; frames];
        song[0] = first;
        for link in &links {
            let mut processor = build(&link.settings, &dsp::Context::plain(rate_hz, 1)).ok()?;
            for piece in song.chunks_mut(MAX_BLOCK_FRAMES) {
                processor.process(&mut Block::key_only(piece), None);
            }
        }
        song.iter_mut().for_each(|frame| *frame = frame.map(|sample| sample / IMPULSE));
        Some(song)
    };
    Some([response([IMPULSE, 0.0])?, response([0.0, IMPULSE])?])
}
