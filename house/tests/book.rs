//! The documents make a book to read in a browser, and every link, anchor and picture of its pages leads somewhere in it.
//!
//! The book is left in `target/book`: `sh scripts/docs` is this test and says where it lies.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use mdbook_driver::MDBook;

/// Pages beside those of the summary: the first again, one for addresses that are not there, and the list of all.
const OWN_PAGES: [&str; 3] = ["index.html", "404.html", "toc.html"];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("the workspace")
}

/// A page as it was built: what it links to, and what may be linked to in it.
struct Page {
    links: Vec<String>,
    anchors: BTreeSet<String>,
}

/// What stands in an attribute, wherever it occurs.
fn attribute<'a>(html: &'a str, name: &str) -> impl Iterator<Item = &'a str> {
    let mark = format!(" {name}=\"");
    let starts: Vec<usize> = html.match_indices(&mark).map(|(at, _)| at + mark.len()).collect();
    starts.into_iter().filter_map(|at| html[at..].split('"').next())
}

fn page(path: &Path) -> Page {
    let html = fs::read_to_string(path).expect("readable");
    let links = ["href", "src"].into_iter().flat_map(|name| attribute(&html, name)).map(str::to_owned).collect();
    Page { links, anchors: attribute(&html, "id").map(str::to_owned).collect() }
}

/// All pages below a folder.
fn pages(folder: &Path) -> BTreeMap<PathBuf, Page> {
    let (mut found, mut folders) = (BTreeMap::new(), vec![folder.to_owned()]);
    while let Some(folder) = folders.pop() {
        for path in fs::read_dir(folder).expect("readable").map(|entry| entry.expect("readable").path()) {
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|ending| ending == "html") {
                let page = page(&path);
                found.insert(path.canonicalize().expect("there"), page);
            }
        }
    }
    found
}

#[test]
fn the_book_is_built_and_its_links_lead_somewhere() {
    let book = MDBook::load(root().join("docs")).expect("docs/book.toml and every page of docs/SUMMARY.md");
    book.build().expect("the book");
    let chapters = book.iter().filter(|item| matches!(item, mdbook_driver::book::BookItem::Chapter(_))).count();
    let built = book.build_dir_for("html");
    let pages = pages(&built);
    assert_eq!(pages.len(), chapters + OWN_PAGES.len(), "a page a chapter");
    let (mut broken, mut seen) = (Vec::new(), 0);
    for (path, page) in &pages {
        let inside = page.links.iter().filter(|link| !link.contains("://") && !link.is_empty());
        // The page for lost addresses is read from any folder, so its links begin at the place where the book is served.
        for link in inside.filter(|_| !path.ends_with("404.html")) {
            let (file, anchor) = link.split_once('#').map_or((link.as_str(), None), |(file, at)| (file, Some(at)));
            let target =
                if file.is_empty() { path.clone() } else { path.with_file_name("").join(file.replace("%20", " ")) };
            let target = target.canonicalize().ok();
            let anchored = |at: &str| {
                let page = target.as_ref().and_then(|target| pages.get(target));
                page.is_some_and(|page| at.is_empty() || page.anchors.contains(at))
            };
            if target.is_none() || anchor.is_some_and(|at| !anchored(at)) {
                broken.push(format!("{}: {link}", path.display()));
            }
            seen += 1;
        }
    }
    assert!(broken.is_empty(), "links that lead nowhere: {broken:#?}");
    assert!(seen > 1000, "links were found: {seen}");
}
