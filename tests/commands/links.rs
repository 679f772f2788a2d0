//! Every link of what is written for people leads somewhere: files that are there, headings that the page has. Links to other
//! places are looked at, not followed.

use super::pages::{Part, docs, home, page};
use pulldown_cmark::{BrokenLink, CowStr, Event, LinkType, Options, Parser, Tag, TagEnd};
use regex::Regex;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use tempfile::TempDir;

/// What a page has: anchors of its headings, and where it links to.
struct Seen {
    anchors: BTreeSet<String>,
    links: Vec<String>,
}

/// The anchor that a heading gets where Markdown is shown with links to headings: lower case, blanks are hyphens, of all else
/// only letters, digits, hyphens and underscores stay.
fn anchor(heading: &str) -> String {
    let kept = heading.trim().chars().filter(|c| c.is_alphanumeric() || " -_".contains(*c));
    kept.flat_map(char::to_lowercase).map(|c| if c == ' ' { '-' } else { c }).collect()
}

fn seen(text: &str) -> Seen {
    // A link to a name that nobody defines would be words, and nobody would see it.
    let undefined = |link: BrokenLink<'_>| {
        let full = matches!(link.link_type, LinkType::Reference | LinkType::Collapsed);
        full.then(|| (CowStr::from(format!("undefined {}", link.reference)), CowStr::from("")))
    };
    let (mut anchors, mut links) = (BTreeSet::new(), Vec::new());
    let (mut heading, mut times) = (None::<String>, BTreeMap::<String, usize>::new());
    for event in Parser::new_with_broken_link_callback(text, Options::ENABLE_TABLES, Some(undefined)) {
        match event {
            Event::Start(Tag::Heading { .. }) => heading = Some(String::new()),
            Event::End(TagEnd::Heading(_)) => {
                let name = anchor(&heading.take().unwrap_or_default());
                let before = times.entry(name.clone()).or_default();
                // A heading that comes again gets a number.
                anchors.insert(if *before == 0 { name } else { format!("{name}-{before}") });
                *before += 1;
            }
            Event::Text(part) | Event::Code(part) => {
                if let Some(heading) = &mut heading {
                    heading.push_str(&part);
                }
            }
            Event::Start(Tag::Link { dest_url, .. } | Tag::Image { dest_url, .. }) => {
                links.push(dest_url.into_string());
            }
            _ => {}
        }
    }
    Seen { anchors, links }
}

/// The file of this folder that a link of a page leads to, or why it leads nowhere; none if it leads elsewhere.
fn target(home: &Path, page: &str, link: &str) -> Result<Option<PathBuf>, String> {
    if let Some(name) = link.strip_prefix("undefined ") {
        return Err(format!("nobody defines [{name}]"));
    }
    if link.starts_with("https://") {
        return Ok(None);
    }
    if link.contains(':') || link.starts_with('/') {
        return Err("a path from here, or https, is expected".to_owned());
    }
    let (path, anchor) = link.split_once('#').map_or((link, None), |(path, anchor)| (path, Some(anchor)));
    let here = home.join(page);
    let file = if path.is_empty() { here } else { here.parent().expect("a folder").join(path) };
    let file = file.canonicalize().map_err(|e| e.to_string())?;
    if !file.starts_with(home.canonicalize().expect("the folder")) {
        return Err("it leads out of the project".to_owned());
    }
    if let Some(anchor) = anchor {
        let text = std::fs::read_to_string(&file).map_err(|e| e.to_string())?;
        let anchors = seen(&text).anchors;
        if !anchors.contains(anchor) {
            return Err(format!("no heading makes `#{anchor}`; there is {anchors:?}"));
        }
    }
    Ok(Some(file))
}

/// The links of a page that lead nowhere, and how many there are in all.
fn dead(home: &Path, page: &str) -> (Vec<String>, usize) {
    let text = std::fs::read_to_string(home.join(page)).unwrap_or_else(|e| panic!("{page}: {e}"));
    let links = seen(&text).links;
    let faults =
        links.iter().filter_map(|link| target(home, page, link).err().map(|why| format!("{page}: {link}: {why}")));
    (faults.collect(), links.len())
}

/// What is written for people, users and contributors.
fn pages() -> Vec<String> {
    let mut names: Vec<String> = ["README.md", "DEVELOPERS.md", "CHANGELOG.md"].map(str::to_owned).to_vec();
    names.extend(docs().into_iter().map(|page| page.name));
    names
}

#[test]
fn every_link_leads_somewhere() {
    let mut all = 0;
    for page in pages() {
        let (faults, links) = dead(&home(), &page);
        assert!(faults.is_empty(), "{}", faults.join("\n"));
        all += links;
    }
    assert!(all >= 60, "{all}");
}

/// From the README, link by link, one comes to every page; a page that nobody links to is not found.
#[test]
fn every_page_is_reached_from_the_readme() {
    let home = home().canonicalize().expect("the folder");
    let (mut reached, mut next) = (BTreeSet::new(), vec![home.join("README.md")]);
    while let Some(file) = next.pop() {
        if file.extension().is_none_or(|e| e != "md") || !reached.insert(file.clone()) {
            continue;
        }
        let name = file.strip_prefix(&home).expect("within").to_str().expect("a plain name").replace('\\', "/");
        let links = seen(&std::fs::read_to_string(&file).expect("a page")).links;
        next.extend(links.iter().filter_map(|link| target(&home, &name, link).ok().flatten()));
    }
    for page in pages() {
        assert!(reached.contains(&home.join(&page)), "no link leads to {page}");
    }
}

/// Files that the text names in backticks are there, too.
#[test]
fn every_file_that_a_page_names_is_there() {
    let mut count = 0;
    for name in pages() {
        let words =
            page(&name).parts().into_iter().filter_map(|part| if let Part::Words(w) = part { Some(w) } else { None });
        let words: String = words.collect();
        for code in words.split('`').skip(1).step_by(2) {
            for path in code.split_whitespace().filter(|w| w.starts_with("patches/") || w.starts_with("docs/")) {
                // Not what stands for many, such as patches/NAME.toml or patches/*.toml.
                if path.chars().any(|c| c.is_uppercase() || c == '*') && !path.ends_with("README.md") {
                    continue;
                }
                assert!(home().join(path).exists(), "{name}: {path}");
                count += 1;
            }
        }
    }
    assert!(count > 10, "{count}");
}

/// Pages that the program itself sends its readers to, and that its sources name, are there.
#[test]
fn every_page_that_the_program_names_is_there() {
    let named = Regex::new(r"\bdocs/[\w.-]+\.md\b").expect("an expression");
    let (mut folders, mut count) = (vec![home().join("src"), home().join("patches")], 0);
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).expect("a folder") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                folders.push(path);
                continue;
            }
            let text = String::from_utf8_lossy(&std::fs::read(&path).expect("a file")).into_owned();
            for page in named.find_iter(&text) {
                assert!(home().join(page.as_str()).exists(), "{}: {}", path.display(), page.as_str());
                count += 1;
            }
            // Since there is a reference, nothing is looked up in the README.
            assert!(!text.contains("in the README"), "{}: the README is for whoever begins", path.display());
        }
    }
    assert!(count >= 2, "{count}");
}

/// What is shown is not heavy to load.
#[test]
fn pictures_are_light() {
    let mut pictures = BTreeSet::new();
    for page in pages() {
        let text = std::fs::read_to_string(home().join(&page)).expect("a page");
        for link in seen(&text).links.iter().filter(|l| l.ends_with(".png") || l.ends_with(".svg")) {
            let file = target(&home(), &page, link).expect("the picture").expect("a file of ours");
            let size = std::fs::metadata(&file).expect("the picture").len();
            assert!(size < 200_000, "{} has {size} bytes", file.display());
            pictures.insert(file);
        }
    }
    assert!(pictures.len() >= 2);
}

/// The first three are the examples of `mdrefcheck::parser::heading2link` (docs.rs/mdrefcheck), a link checker; the last is the
/// form that pages here use.
#[test]
fn anchors_are_made_as_readers_make_them() {
    for (heading, expected) in [
        ("Hello World", "hello-world"),
        ("This -- Is__A_Test!", "this----is__a_test"),
        ("A heading with 💡 emoji!", "a-heading-with--emoji"),
        ("Pictures of it: --plot", "pictures-of-it---plot"),
    ] {
        assert_eq!(anchor(heading), expected);
    }
}

/// A link that leads nowhere is found whatever is wrong with it.
#[test]
fn dead_links_are_found() {
    let outer = TempDir::new().expect("a temporary folder");
    let home = outer.path().join("home");
    std::fs::create_dir_all(home.join("docs")).expect("a folder");
    std::fs::write(outer.path().join("outside.md"), "# Outside\n").expect("a file");
    std::fs::write(home.join("a.md"), "# Here\n\n## `code` twice\n\n## code twice\n").expect("a file");
    let found = |link: &str| {
        std::fs::write(home.join("docs/b.md"), format!("# B\n\nSee {link}.\n\n[known]: ../a.md\n")).expect("a file");
        let (faults, links) = dead(&home, "docs/b.md");
        assert_eq!(links, 1, "{link}");
        !faults.is_empty()
    };
    for good in [
        "[x](../a.md)",
        "[x](../a.md#here)",
        "[x](../a.md#code-twice)",
        "[x](../a.md#code-twice-1)",
        "[x](#b)",
        "![x](../a.md)",
        "[x](https://example.org)",
        "[x][known]",
    ] {
        assert!(!found(good), "{good}");
    }
    for dead in [
        "[x](a.md)",
        "[x](../a.md#there)",
        "[x](../a.md#code-twice-2)",
        "[x](#here)",
        "![x](../a.png)",
        "[x](../../outside.md)",
        "[x](http://example.org)",
        "[x](/a.md)",
        "[x][unknown]",
    ] {
        assert!(found(dead), "{dead}");
    }
}
