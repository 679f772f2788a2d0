//! ES modules joined into one script, so that a page is one file that runs under a policy which names its script by a hash.
//!
//! The files stand in `parts` as they are, and `tests/page` runs them under another engine. Two forms are joined, each on a
//! line of its own: `import { a, b } from './other.mjs';` and `export const a = …`.

use std::fmt::Write;

/// A module: its name, without the ending, and its text.
#[derive(Clone, Copy, Debug)]
pub(super) struct Module {
    pub(super) name: &'static str,
    pub(super) text: &'static str,
}

/// The modules of these names, in the order in which they run: each behind those that it imports.
macro_rules! modules {
    ($($name:literal),* $(,)?) => {
        &[$($crate::show::page::modules::Module { name: $name, text: include_str!(concat!("parts/", $name, ".mjs")) }),*]
    };
}
pub(super) use modules;

/// The line's import: the names, and the module they come from.
fn import(line: &str) -> Option<(&str, &str)> {
    let (names, from) = line.strip_prefix("import { ")?.split_once(" } from './")?;
    Some((names, from.strip_suffix(".mjs';")?))
}

/// The name that a line exports.
fn exported(line: &str) -> Option<&str> {
    line.strip_prefix("export const ")?.split_once(" = ").map(|(name, _)| name)
}

/// What a module is called in the script.
fn called(name: &str) -> String {
    format!("$_{}", name.replace('-', "_"))
}

/// One strict script of these modules: each is a function of its own that runs at once, and what it exports an object. Comments on
/// lines of their own and indents stay in the files: a page is mailed.
pub(super) fn joined(modules: &[Module]) -> String {
    let mut out = String::from("'use strict';\n");
    for Module { name, text } in modules {
        let _ = writeln!(out, "const {} = (() => {{", called(name));
        let mut exports = Vec::new();
        let mut comment = false;
        for line in text.lines() {
            if let Some((names, from)) = import(line) {
                let _ = writeln!(out, "const {{ {names} }} = {};", called(from));
                continue;
            }
            exports.extend(exported(line));
            let line = line.strip_prefix("export ").unwrap_or(line).trim_start();
            comment |= line.starts_with("/**");
            if !comment && !line.starts_with("//") && !line.is_empty() {
                out.push_str(line);
                out.push('\n');
            }
            comment &= !line.ends_with("*/");
        }
        let _ = writeln!(out, "return {{ {} }};\n}})();", exports.join(", "));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn what_is_exported_is_what_others_import() {
        let script = joined(&[
            Module {
                name: "one",
                text: "// One.\nexport const one = 1;\n/** Its own:\n * not seen. */\n  const own = 2\n  * 1;\n",
            },
            Module { name: "two-more", text: "import { one } from './one.mjs';\n\nexport const two = one + one;\n" },
        ]);
        assert_eq!(
            script,
            "'use strict';\nconst $_one = (() => {\nconst one = 1;\nconst own = 2\n* 1;\nreturn { one };\n})();\n\
             const $_two_more = (() => {\nconst { one } = $_one;\nconst two = one + one;\nreturn { two };\n})();\n"
        );
    }

    /// A module of a page that imports one behind it, or one that does not export the name, would leave the page dead; an import or
    /// export in any other form would not be joined.
    #[test]
    fn modules_of_pages_import_from_those_before_them() {
        let served = super::super::listen::served_modules();
        for modules in [super::super::listen::MODULES, super::super::train::MODULES, &served] {
            let mut before: BTreeSet<(&str, &str)> = BTreeSet::new();
            for Module { name, text } in modules {
                for line in text.lines() {
                    if let Some((names, from)) = import(line) {
                        for own in names.split(", ") {
                            assert!(before.contains(&(from, own)), "{name}: {line}");
                        }
                        continue;
                    }
                    let other =
                        ["import ", "import(", "export "].iter().any(|form| line.trim_start().starts_with(form));
                    assert_eq!(other, exported(line).is_some(), "{name}: {line}");
                }
                before.extend(text.lines().filter_map(exported).map(|own| (*name, own)));
            }
        }
    }
}
