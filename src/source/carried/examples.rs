//! The examples, as they stand in `patches/`, each with what goes with it.

/// A file of `patches/` as it stands there.
#[derive(Clone, Copy, Debug)]
pub struct Embedded {
    /// Its name there.
    pub name: &'static str,
    /// All of it.
    pub text: &'static str,
}

/// A file that can be tried at once, with all that it needs.
#[derive(Debug)]
pub struct Example {
    /// As it has it in itself.
    pub title: &'static str,
    /// What is tried.
    pub file: Embedded,
    /// What lies beside it, because it or a command to try names that.
    pub beside: &'static [Embedded],
    /// Commands to try, in which `FILE` is its own file.
    pub then: &'static [&'static str],
}

macro_rules! embedded {
    ($name:literal) => {
        Embedded { name: $name, text: include_str!(concat!("../../../patches/", $name)) }
    };
}

/// A patch whose fixes are held against the original.
const FIXED: &[&str] = &["check FILE", "compare FILE"];
/// A patch without fixes.
const ALONE: &[&str] = &["check FILE", "render FILE"];

const fn example(title: &'static str, file: Embedded) -> Example {
    Example { title, file, beside: &[], then: FIXED }
}

/// All of them, patches first.
pub const EXAMPLES: &[Example] = &[
    example("The late bell", embedded!("late-bell.toml")),
    example("Thin ice", embedded!("thin-ice.toml")),
    example("Moth wakes on seven", embedded!("moth-wakes-on-seven.toml")),
    example("Moth blinks", embedded!("moth-blinks.toml")),
    example("Eight on one wire", embedded!("eight-on-one-wire.toml")),
    example("Three in the basket", embedded!("three-in-the-basket.toml")),
    example("Across the room", embedded!("across-the-room.toml")),
    example("Counting twenty-four", embedded!("counting-twenty-four.toml")),
    example("Five teachers", embedded!("five-teachers.toml")),
    Example { then: ALONE, ..example("A gate at last", embedded!("gate-at-last.toml")) },
    example("Half and double", embedded!("half-and-double.toml")),
    example("Hand in hand", embedded!("hand-in-hand.toml")),
    example("The Lantern hurries", embedded!("lantern-hurries.toml")),
    example("The Lantern rests", embedded!("lantern-rests.toml")),
    example("The Lantern trembles", embedded!("lantern-trembles.toml")),
    example("Loose hands", embedded!("loose-hands.toml")),
    example("Serial beside pulses", embedded!("serial-beside-pulses.toml")),
    example("A slow edge", embedded!("slow-edge.toml")),
    example("A soft attack", embedded!("soft-attack.toml")),
    Example { beside: &[embedded!("taken-by-hand.csv")], ..example("Taken by hand", embedded!("taken-by-hand.toml")) },
    example("Through the laptop", embedded!("through-the-laptop.toml")),
    Example { then: ALONE, ..example("Wren slips", embedded!("wren-slips.toml")) },
    Example {
        beside: &[embedded!("late-bell.toml")],
        then: &["advise late-bell.toml --on sequencer.wren.clock --components FILE"],
        ..example("Generic components", embedded!("components.toml"))
    },
    Example {
        beside: &[
            embedded!("late-bell.toml"),
            embedded!("moth-wakes-on-seven.toml"),
            embedded!("moth-blinks.toml"),
            embedded!("eight-on-one-wire.toml"),
        ],
        then: &["lesson FILE"],
        ..example("Three robots and a clock", embedded!("three-robots.lesson.toml"))
    },
    Example { then: &["results FILE"], ..example("Wren listens", embedded!("wren-listens.json")) },
];

impl Example {
    /// The name by which it is asked for: that of its file, up to the first dot.
    #[must_use]
    pub fn name(&self) -> &'static str {
        self.file.name.split('.').next().unwrap_or(self.file.name)
    }

    /// The example of that name, if there is one.
    #[must_use]
    pub fn named(name: &str) -> Option<&'static Self> {
        EXAMPLES.iter().find(|e| e.name() == name)
    }
}

/// A line for each, its name and its title; an empty line after every so many, since a message longer than a screen is cut.
#[must_use]
pub fn listed() -> String {
    const IN_A_MESSAGE: usize = 20;
    let width = EXAMPLES.iter().map(|e| e.name().len()).max().unwrap_or(0);
    let part = |part: &[Example]| -> Vec<String> {
        part.iter().map(|e| format!("  {:width$}  {}", e.name(), e.title)).collect()
    };
    EXAMPLES.chunks(IN_A_MESSAGE).map(|some| part(some).join("\n")).collect::<Vec<_>>().join("\n\n")
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    /// The folder and the table hold the same: an example that is added there is added here.
    #[test]
    fn every_example_is_carried_under_a_name_and_the_title_of_its_file() {
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("patches");
        let there: BTreeSet<String> = std::fs::read_dir(folder)
            .expect("the examples")
            .map(|entry| entry.expect("an entry").file_name().into_string().expect("a plain name"))
            .collect();
        let files = EXAMPLES.iter().flat_map(|e| e.beside.iter().chain([&e.file]));
        assert_eq!(files.map(|f| f.name.to_owned()).collect::<BTreeSet<_>>(), there);
        let names: BTreeSet<&str> = EXAMPLES.iter().map(Example::name).collect();
        assert_eq!(names.len(), EXAMPLES.len(), "two have one name");
        for example in EXAMPLES.iter().filter(|e| e.file.name.ends_with(".toml")) {
            let file: toml::Table = example.file.text.parse().expect(example.file.name);
            assert_eq!(file["title"].as_str(), Some(example.title), "{}", example.file.name);
        }
    }
}
