//! Writes the types of the page: `cargo run -p desk --example protocol > crates/pages/web/desk/protocol.ts`.

use std::io::Write as _;

fn main() -> std::io::Result<()> {
    std::io::stdout().write_all(desk::protocol::as_typescript().as_bytes())
}
