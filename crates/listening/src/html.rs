//! The page as text: the built page with the song in it and a policy that lets nothing in from outside.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use sha2::{Digest, Sha256};

use crate::song::Song;

const SLOT: &str = "<script type=\"application/json\" id=\"song\"></script>";
const SCRIPT: &str = "<script type=\"module\">";

/// The page up to where pieces of audio may stand, and from there.
pub(crate) struct Halves {
    pub head: String,
    pub tail: String,
}

/// Puts a song into the built page; none if that is not the real page.
pub(crate) fn with_song(built: &str, song: &Song) -> Option<Halves> {
    let script = built.split_once(SCRIPT)?.1.split_once("</script>")?.0;
    let policy = policy(script, song.audio.inside);
    let (before_slot, after_slot) = built.split_once(SLOT)?;
    let (head, rest) = before_slot.split_once("<head>")?;
    let title = escaped(&format!("{}, {}", song.title, song.revision));
    let rest = rest.replacen("<title>Listening page</title>", &format!("<title>{title}</title>"), 1);
    let slot = SLOT.replace("></", &format!(">{}</", song.to_text().replace('\u{0}', "")));
    let text =
        format!("{head}<head>\n    <meta http-equiv=\"Content-Security-Policy\" content=\"{policy}\">{rest}{slot}");
    let (after, tail) = after_slot.rsplit_once("</body>")?;
    Some(Halves { head: text + after, tail: format!("</body>{tail}") })
}

/// Nothing is loaded but what was written with the page: the one script that was built (by its hash, so that no text of a
/// note could ever run), its style, and, for a page in a folder, the pieces of audio beside it.
fn policy(script: &str, inside: bool) -> String {
    let hash = STANDARD.encode(Sha256::digest(script.as_bytes()));
    // `file:` is what a page opened from disk is; `'self'` holds where the folder lies on a server.
    let beside = if inside { "" } else { " 'self' file:" };
    format!(
        "default-src 'none'; script-src 'sha256-{hash}'{beside}; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'"
    )
}

/// A piece of audio as an element of the page.
pub(crate) fn element(version: usize, piece: u64, bytes: &[u8]) -> String {
    let text = STANDARD.encode(bytes);
    format!("<script type=\"application/octet-stream\" id=\"piece-{version}-{piece}\">{text}</script>\n")
}

/// A piece of audio as a file of its own. It is a script because a page opened from disk may read nothing else beside it.
pub(crate) fn script(version: usize, piece: u64, bytes: &[u8]) -> String {
    let text = STANDARD.encode(bytes);
    format!("fairprintPiece(\"{version}-{piece}\",\"{text}\");\n")
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}
