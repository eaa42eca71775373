//! The page's types, from the messages.

use ts_rs::TS;

use super::*;

/// The page's types.
#[must_use]
pub fn as_typescript() -> String {
    let config = ts_rs::Config::default();
    let mut text = String::from(
        "// Made by `cargo run -p desk --example protocol` from crates/desk/src/protocol.rs. Change that, not this.\n\n\
         export type Path = (string | number)[];\n\
         export type Plain = boolean | number | string | Plain[] | { [key: string]: Plain };\n\
         export type Operation = { op: \"add\" | \"replace\"; path: string; value: unknown } | { op: \"remove\"; path: string };\n\
         export type Edit =\n  | { edit: \"set\"; path: Path; value: Plain }\n  | { edit: \"insert\"; path: Path; at: number; \
         value: Plain }\n  | { edit: \"remove\"; path: Path }\n  | { edit: \"move\"; path: Path; to: number }\n  | { edit: \
         \"rename\"; from: string; to: string };\n",
    );
    let all = [
        View::decl(&config),
        Song::decl(&config),
        Section::decl(&config),
        Role::decl(&config),
        Node::decl(&config),
        Print::decl(&config),
        Card::decl(&config),
        Send::decl(&config),
        Processor::decl(&config),
        Key::decl(&config),
        Row::decl(&config),
        Ride::decl(&config),
        Phrase::decl(&config),
        Piece::decl(&config),
        Control::decl(&config),
        Takes::decl(&config),
        Earlier::decl(&config),
        Offer::decl(&config),
        Note::decl(&config),
        Version::decl(&config),
        Finding::decl(&config),
        Hearing::decl(&config),
        Through::decl(&config),
        Codec::decl(&config),
        Ear::decl(&config),
        Compared::decl(&config),
        Unknown::decl(&config),
        Blindly::decl(&config),
        Blind::decl(&config),
        BlindBefore::decl(&config),
        Opened::decl(&config),
        Asked::decl(&config),
        Told::decl(&config),
        Now::decl(&config),
        Meters::decl(&config),
        Sounds::decl(&config),
        Sound::decl(&config),
        Differs::decl(&config),
        Adds::decl(&config),
        Added::decl(&config),
        Figures::decl(&config),
    ];
    for declaration in all {
        text.push_str("export ");
        text.push_str(&declaration);
        text.push('\n');
    }
    compact(&text)
}

/// Comments on one line, and no line without words.
fn compact(text: &str) -> String {
    let joined = text.replace("/**\n * ", "/** ").replace("\n */", " */");
    joined.lines().filter(|line| !line.trim().is_empty()).map(|line| format!("{}\n", line.trim_end())).collect()
}

#[cfg(test)]
mod tests {
    #[test]
    fn the_page_has_these_types() {
        let written = include_str!("../../../pages/web/desk/protocol.ts");
        let rerun = "run `cargo run -p desk --example protocol > crates/pages/web/desk/protocol.ts`";
        assert!(written == super::as_typescript(), "{rerun}");
    }
}
