//! The pages: built by npm from `web/` while the crate is compiled, and kept inside the program.
//!
//! Where npm is missing or fails, the crate still builds: a placeholder stands in for each page, [`ARE_BUILT`] is false,
//! and the compiler says why. Two variables of the build change that:
//!
//! - `FAIRPRINT_PAGES=DIR` takes pages that are built already (the folder `dist` of `web/`) and runs no npm;
//! - `FAIRPRINT_PAGES_REQUIRED=1` makes a missing page an error, for tests and releases.

include!(concat!(env!("OUT_DIR"), "/embedded.rs"));

/// One file of a page.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PageFile {
    /// Path below the page's address, with `/`: `index.html`, `assets/index-1a2b.js`.
    pub path: &'static str,
    /// What it holds.
    pub bytes: &'static [u8],
    /// Its media type, as a server has to state it.
    pub content_type: &'static str,
}

/// Whether these are the real pages: false where npm was missing when the program was built.
pub const ARE_BUILT: bool = BUILT;

/// The listening page: one HTML file that needs nothing beside it. The song goes into its element `song`.
#[must_use]
pub fn listening() -> &'static str {
    LISTENING
}

/// The files of the desk's page; `index.html` is among them.
#[must_use]
pub fn desk() -> &'static [PageFile] {
    DESK
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_listening_page_needs_nothing_beside_it() {
        let page = listening();
        assert!(page.starts_with("<!doctype html>"), "{}", &page[..80.min(page.len())]);
        for outside in ["src=\"", "href=\"./", "@import", "url(http"] {
            assert!(!page.contains(outside), "the page asks for a file: {outside}");
        }
        if ARE_BUILT {
            assert!(page.contains("id=\"song\"></script>"), "there is a place for the song");
            assert_eq!(page.matches("<script").count(), page.matches("</script>").count());
        }
    }

    #[test]
    fn the_desk_is_whole_and_each_file_has_its_type() {
        let index = desk().iter().find(|file| file.path == "index.html").expect("a page to start from");
        assert_eq!(index.content_type, "text/html; charset=utf-8");
        let texts: Vec<&str> = desk().iter().filter_map(|file| std::str::from_utf8(file.bytes).ok()).collect();
        for file in desk() {
            assert!(!file.bytes.is_empty() && !file.path.contains('\\'), "{}", file.path);
            let name = file.path.rsplit('/').next().expect("a name");
            assert!(
                file.path == "index.html" || texts.iter().any(|text| text.contains(name)),
                "no file names {}",
                file.path
            );
        }
    }
}
