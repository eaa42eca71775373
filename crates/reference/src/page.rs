//! Words and figures of one processor as a page in Markdown.

use std::fmt::Write as _;

use units::{Settings, Spec};

use crate::figures::{self, Figure};
use crate::{File, MARK};

/// All files of the reference.
pub fn files() -> Vec<File> {
    let specs: Vec<&'static Spec> = dsp::CATALOGUE.iter().map(|entry| entry.spec).collect();
    let mut files = vec![
        File { name: "README.md".to_owned(), text: index(&specs) },
        File { name: "sheet.md".to_owned(), text: format!("{MARK}\n{}", sheet::reference(&specs)) },
        File { name: "codes.md".to_owned(), text: codes() },
    ];
    for spec in specs {
        let figures = figures::of(spec.name);
        files.push(File { name: format!("{}.md", spec.name), text: page(spec, &figures) });
        files.extend(figures.into_iter().map(|figure| File { name: figure.file, text: figure.svg }));
    }
    files
}

fn index(specs: &[&Spec]) -> String {
    let mut text = format!(
        "{MARK}\n# Reference\n\nEvery processor with its parameters, the source of its method, and figures that were \
         measured from the processor itself as it runs. [The sheet](sheet.md) has all keys on one page, [the codes](codes.md) \
         what each finding means and how it is computed, [the commands](commands.md) what can be typed.\n\n| processor | what it does |\n| --- | --- |\n",
    );
    for spec in specs {
        let _ = writeln!(text, "| [{}]({}.md) | {} |", spec.title, spec.name, spec.summary);
    }
    text
}

/// Every code of a finding, by where it is found.
fn codes() -> String {
    let mut text = format!(
        "{MARK}\n# Codes of findings\n\nEvery finding has a code, a severity (note, warn, fail), a place, what is the case, \
         and what to do. Here is how each is computed, and who says that it matters. A sheet lets one stand by its code:\n\n\
         ```toml\n[[accept]]\ncode = \"muted\"\nwhere = \"stem clap\"          # left out: everywhere\nreason = \"the band \
         took it out\"\n```\n",
    );
    for area in prints::codes::AREAS {
        let _ = writeln!(
            text,
            "\n## {}\n\n{}\n\n| code | computed | source |\n| --- | --- | --- |",
            area.title, area.sentence
        );
        for code in area.codes {
            let how = code.how.replace("bar|beat", "bar\\|beat");
            let _ = writeln!(text, "| `{}` | {how} | {} |", code.name, code.source);
        }
    }
    text
}

fn page(spec: &'static Spec, figures: &[Figure]) -> String {
    let mut text = format!("{MARK}\n# {}\n\n{}\n\n", capital(spec.title), spec.summary);
    let rows = spec.rows.map_or(String::new(), |rows| format!("{} = [{{ … }}], ", rows.name));
    let first = spec.params.first().map_or("", |param| param.name);
    let _ =
        writeln!(text, "In a chain: `{{ {} = {{ {rows}{first} = …, … }} }}`. Left as it comes, it says:\n", spec.name);
    let _ = writeln!(text, "> {}.\n\n## Parameters\n", capital(&Settings::defaults(spec).sentence()));
    text.push_str(&sheet::parameters(spec));
    if !figures.is_empty() {
        text.push_str("\n## What it does\n");
    }
    for figure in figures {
        let _ = writeln!(text, "\n![{}]({})\n\n{}", figure.caption, figure.file, figure.caption);
    }
    let _ = writeln!(text, "\n## Mind\n\n{}\n\n## Source\n\n{}", spec.caution, spec.source);
    text
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}
