//! Every link, anchor and picture in the documents leads somewhere, and the summary lists them all.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Component, Path, PathBuf};

use pulldown_cmark::{Event, Options, Parser, Tag, TagEnd};

/// Most bytes of a picture.
const MOST_BYTES: u64 = 200_000;
/// Folders without documents of ours.
const NOT_OURS: [&str; 5] = ["target", "node_modules", "dist", "demo-song", "fuzz"];

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("the workspace").to_owned()
}

/// What a document holds: the anchors that a link may name, and what it links to.
#[derive(Default)]
struct Document {
    anchors: BTreeSet<String>,
    links: Vec<String>,
}

fn documents() -> BTreeMap<PathBuf, Document> {
    let (mut found, mut folders) = (BTreeMap::new(), vec![root()]);
    while let Some(folder) = folders.pop() {
        for path in fs::read_dir(folder).expect("readable").map(|entry| entry.expect("readable").path()) {
            let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
            if path.is_dir() && !name.starts_with('.') && !NOT_OURS.contains(&name.as_str()) {
                folders.push(path);
            } else if name.ends_with(".md") {
                let document = read(&fs::read_to_string(&path).expect("readable"));
                found.insert(path, document);
            }
        }
    }
    assert!(found.len() > 20, "the documents were found");
    found
}

fn read(text: &str) -> Document {
    let mut document = Document::default();
    let mut heading: Option<String> = None;
    for event in Parser::new_ext(text, Options::ENABLE_TABLES) {
        match event {
            Event::Start(Tag::Heading { .. }) => heading = Some(String::new()),
            Event::End(TagEnd::Heading(_)) => document.anchors.extend(heading.take().map(|words| anchor(&words))),
            Event::Text(words) | Event::Code(words) => {
                if let Some(heading) = &mut heading {
                    heading.push_str(&words);
                }
            }
            Event::Start(Tag::Link { dest_url, .. } | Tag::Image { dest_url, .. }) => {
                document.links.push(dest_url.into_string());
            }
            _ => {}
        }
    }
    document
}

/// The anchor that readers of Markdown give a heading: letters, digits and hyphens, blanks as hyphens.
fn anchor(heading: &str) -> String {
    let letters = heading.trim().to_lowercase().chars().collect::<Vec<_>>();
    letters
        .iter()
        .filter(|c| c.is_alphanumeric() || [' ', '-', '_'].contains(c))
        .map(|c| if *c == ' ' { '-' } else { *c })
        .collect()
}

/// A path with its `..` taken back.
fn plain(path: &Path) -> PathBuf {
    let mut whole = PathBuf::new();
    for part in path.components() {
        if part == Component::ParentDir {
            whole.pop();
        } else {
            whole.push(part);
        }
    }
    whole
}

fn is_outside(link: &str) -> bool {
    ["http://", "https://", "mailto:"].iter().any(|scheme| link.starts_with(scheme))
}

#[test]
fn every_link_leads_somewhere() {
    let documents = documents();
    let mut broken = Vec::new();
    for (path, document) in &documents {
        for link in document.links.iter().filter(|link| !is_outside(link)) {
            let (file, fragment) = link.split_once('#').map_or((link.as_str(), None), |(file, at)| (file, Some(at)));
            let folder = path.parent().expect("a file");
            let target = if file.is_empty() { path.clone() } else { plain(&folder.join(file.replace("%20", " "))) };
            let anchored = |at: &str| documents.get(&target).is_some_and(|document| document.anchors.contains(at));
            if !target.exists() || fragment.is_some_and(|at| !anchored(at)) {
                broken.push(format!("{}: {link}", path.display()));
            }
        }
    }
    assert!(broken.is_empty(), "links that lead nowhere: {broken:#?}");
}

#[test]
fn the_summary_lists_every_document_once() {
    let docs = root().join("docs");
    let documents = documents();
    let summary = &documents[&docs.join("SUMMARY.md")];
    let listed: Vec<PathBuf> = summary.links.iter().map(|link| plain(&docs.join(link))).collect();
    let once: BTreeSet<&PathBuf> = listed.iter().collect();
    assert_eq!(once.len(), listed.len(), "a document is listed twice");
    let left: Vec<_> = documents
        .keys()
        .filter(|path| path.starts_with(&docs) && !path.ends_with("SUMMARY.md") && !once.contains(path))
        .collect();
    assert!(left.is_empty(), "add to docs/SUMMARY.md: {left:#?}");
}

#[test]
fn every_script_that_documents_name_is_there() {
    let mut seen = 0;
    for path in documents().keys() {
        let text = fs::read_to_string(path).expect("readable");
        for folder in ["scripts", "bench"] {
            for rest in text.split(&format!("sh {folder}/")).skip(1) {
                let is_of_a_name = |c: &char| c.is_ascii_alphanumeric() || ['-', '_'].contains(c);
                let name: String = rest.chars().take_while(is_of_a_name).collect();
                assert!(root().join(folder).join(&name).exists(), "{} names {folder}/{name}", path.display());
                seen += 1;
            }
        }
    }
    assert!(seen > 10, "scripts were found: {seen}");
}

#[test]
fn what_documents_show_is_small() {
    for (path, document) in &documents() {
        for link in document.links.iter().filter(|link| link.ends_with(".png") || link.ends_with(".webp")) {
            let bytes = fs::metadata(path.with_file_name(link)).map_or(0, |picture| picture.len());
            assert!(bytes <= MOST_BYTES, "{link} in {} has {bytes} bytes", path.display());
        }
    }
}

#[test]
fn anchors_are_made_as_readers_make_them() {
    assert_eq!(anchor("Print last year's revision again?"), "print-last-years-revision-again");
    assert_eq!(anchor("`[[print]]`, one TV track"), "print-one-tv-track");
}
