//! Builds the pages with npm and writes what the crate embeds.
//!
//! The sources are copied to `OUT_DIR` and built there, so that the tree stays clean. Only files of ours are watched; the
//! packages of npm are installed again only when their lock file has changed.

use std::env;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// What is not a source below `web/`.
const NOT_OURS: &[&str] = &["node_modules", "dist"];
const LOCK: &str = "package-lock.json";

type Outcome<T> = Result<T, String>;

fn main() {
    println!("cargo:rerun-if-changed=build.rs");
    println!("cargo:rerun-if-env-changed=FAIRPRINT_PAGES");
    println!("cargo:rerun-if-env-changed=FAIRPRINT_PAGES_REQUIRED");
    println!("cargo:rerun-if-env-changed=PATH");
    let out = PathBuf::from(env::var_os("OUT_DIR").expect("cargo sets it"));
    let embedded = match built_pages(&out).and_then(|pages| embed(&pages, true)) {
        Ok(embedded) => embedded,
        Err(reason) if env::var_os("FAIRPRINT_PAGES_REQUIRED").is_some() => {
            panic!("the pages cannot be built: {reason}")
        }
        Err(reason) => {
            println!(
                "cargo:warning=The pages were not built, so `fairprint listen` will refuse to write one: {reason}"
            );
            watch_for_npm();
            embed(&placeholder(&out).expect("a page can be written"), false).expect("it is there")
        }
    };
    fs::write(out.join("embedded.rs"), embedded).expect("OUT_DIR can be written");
}

/// The folder of built pages.
fn built_pages(out: &Path) -> Outcome<PathBuf> {
    if let Some(given) = env::var_os("FAIRPRINT_PAGES") {
        let given = PathBuf::from(given);
        println!("cargo:rerun-if-changed={}", given.display());
        return Ok(given);
    }
    let web = Path::new(env!("CARGO_MANIFEST_DIR")).join("web");
    let (copy, stamp) = (out.join("web"), out.join("installed.lock"));
    mirror(&web, &copy)?;
    let lock = fs::read_to_string(web.join(LOCK)).map_err(|error| format!("{LOCK}: {error}"))?;
    if fs::read_to_string(&stamp).ok().as_ref() != Some(&lock) {
        npm(&copy, &["ci", "--ignore-scripts"])?;
        fs::write(&stamp, lock).map_err(|error| error.to_string())?;
    }
    npm(&copy, &["run", "build"])?;
    Ok(copy.join("dist"))
}

fn npm(folder: &Path, words: &[&str]) -> Outcome<()> {
    let program = if cfg!(windows) { "npm.cmd" } else { "npm" };
    let run = Command::new(program).args(words).current_dir(folder).output();
    let run = run.map_err(|error| format!("npm cannot be run ({error}); it comes with Node 20.19 or later"))?;
    if run.status.success() {
        return Ok(());
    }
    let said = [run.stdout, run.stderr].map(|text| String::from_utf8_lossy(&text).into_owned()).concat();
    let lines: Vec<&str> = said.lines().filter(|line| !line.trim().is_empty()).collect();
    let last = lines[lines.len().saturating_sub(6)..].join(" / ");
    Err(format!("`npm {}` failed: {last}", words.join(" ")))
}

/// Copies the sources, watching each file, and takes away what is gone. A new file needs no watch of its own: it is of use
/// only where one that was there names it.
fn mirror(from: &Path, to: &Path) -> Outcome<()> {
    let told = |error: std::io::Error| format!("{}: {error}", from.display());
    fs::create_dir_all(to).map_err(told)?;
    let mut names = Vec::new();
    for entry in fs::read_dir(from).map_err(told)? {
        let entry = entry.map_err(told)?;
        let name = entry.file_name();
        if NOT_OURS.iter().any(|other| name == *other) {
            continue;
        }
        let (source, target) = (entry.path(), to.join(&name));
        if source.is_dir() {
            mirror(&source, &target)?;
        } else {
            println!("cargo:rerun-if-changed={}", source.display());
            fs::copy(&source, &target).map_err(told)?;
        }
        names.push(name);
    }
    for entry in fs::read_dir(to).map_err(told)? {
        let entry = entry.map_err(told)?;
        if names.contains(&entry.file_name()) || NOT_OURS.iter().any(|other| entry.file_name() == *other) {
            continue;
        }
        let path = entry.path();
        if path.is_dir() { fs::remove_dir_all(&path) } else { fs::remove_file(&path) }.map_err(told)?;
    }
    Ok(())
}

/// Looks again once something is installed where npm would be.
fn watch_for_npm() {
    for folder in env::split_paths(&env::var_os("PATH").unwrap_or_default()).filter(|folder| folder.is_dir()) {
        println!("cargo:rerun-if-changed={}", folder.display());
    }
}

/// Pages that say what is missing.
fn placeholder(out: &Path) -> Outcome<PathBuf> {
    let folder = out.join("placeholder");
    let page = "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><title>Fairprint</title></head><body>\
                <p>This Fairprint was built without its pages. Install Node 20.19 or later with npm and build it again.</p>\
                </body></html>\n";
    for name in ["listening", "desk"] {
        fs::create_dir_all(folder.join(name)).map_err(|error| error.to_string())?;
        fs::write(folder.join(name).join("index.html"), page).map_err(|error| error.to_string())?;
    }
    Ok(folder)
}

/// The source of what the crate embeds.
fn embed(pages: &Path, built: bool) -> Outcome<String> {
    let listening = pages.join("listening").join("index.html");
    if !listening.is_file() {
        return Err(format!("{} is not there", listening.display()));
    }
    let mut files = Vec::new();
    list(&pages.join("desk"), "", &mut files)?;
    files.sort();
    let mut text = format!("const BUILT: bool = {built};\nconst LISTENING: &str = include_str!({listening:?});\n");
    text.push_str("const DESK: &[PageFile] = &[\n");
    for (path, file) in files {
        let kind = content_type(&path)?;
        let _ = writeln!(
            text,
            "    PageFile {{ path: {path:?}, bytes: include_bytes!({file:?}), content_type: {kind:?} }},"
        );
    }
    text.push_str("];\n");
    Ok(text)
}

fn list(folder: &Path, under: &str, files: &mut Vec<(String, PathBuf)>) -> Outcome<()> {
    let told = |error: std::io::Error| format!("{}: {error}", folder.display());
    for entry in fs::read_dir(folder).map_err(told)? {
        let entry = entry.map_err(told)?;
        let path = format!("{under}{}", entry.file_name().to_string_lossy());
        if entry.path().is_dir() {
            list(&entry.path(), &format!("{path}/"), files)?
        } else {
            files.push((path, entry.path()))
        }
    }
    Ok(())
}

fn content_type(path: &str) -> Outcome<&'static str> {
    match path.rsplit('.').next() {
        Some("html") => Ok("text/html; charset=utf-8"),
        Some("js") => Ok("text/javascript; charset=utf-8"),
        Some("css") => Ok("text/css; charset=utf-8"),
        Some("svg") => Ok("image/svg+xml"),
        Some("json") => Ok("application/json"),
        Some("png") => Ok("image/png"),
        Some("ico") => Ok("image/x-icon"),
        _ => Err(format!("{path} has an ending whose type is not known to crates/pages/build.rs")),
    }
}
