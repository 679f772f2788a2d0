/// The names that a short one may stand for: those that have all of its parts, in order, among their own. A name that is the very
/// same stands for itself alone. Parts are parted by full stops.
#[must_use]
pub fn meant<'n>(names: &'n [String], short: &str) -> Vec<&'n str> {
    let short = short.trim();
    if let Some(same) = names.iter().find(|name| *name == short) {
        return vec![same];
    }
    let has = |name: &&str| {
        let mut parts = name.split('.');
        short.split('.').all(|wanted| parts.any(|part| part == wanted))
    };
    names.iter().map(String::as_str).filter(has).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn names() -> Vec<String> {
        let all =
            ["sequencer.ox.clock", "sequencer.ox.reset", "sequencer.heron.clock", "clock.slow", "sequencer.slow.clock"];
        all.map(str::to_owned).to_vec()
    }

    #[test]
    fn a_part_that_only_one_has_names_it() {
        let names = names();
        for (short, full) in [
            ("heron", vec!["sequencer.heron.clock"]),
            ("heron.clock", vec!["sequencer.heron.clock"]),
            ("reset", vec!["sequencer.ox.reset"]),
            ("ox", vec!["sequencer.ox.clock", "sequencer.ox.reset"]),
            // The very name, though another has both parts too.
            ("clock.slow", vec!["clock.slow"]),
            ("slow.clock", vec!["sequencer.slow.clock"]),
            ("slow", vec!["clock.slow", "sequencer.slow.clock"]),
            // In order, whole, and none made up.
            ("clock.heron", vec![]),
            ("her", vec![]),
            ("heron.clock.phase", vec![]),
            ("", vec![]),
            ("heron.", vec![]),
        ] {
            assert_eq!(meant(&names, short), full, "{short}");
        }
    }

    proptest! {
        /// Whatever is left of a name when parts are taken out of it, the name is among those meant.
        #[test]
        fn whatever_is_left_of_a_name_may_mean_it(which in 0_usize..5, keep in 1_usize..8) {
            let names = names();
            let parts = names[which].split('.').enumerate().filter(|(n, _)| keep >> n & 1 == 1).map(|(_, part)| part);
            let short = parts.collect::<Vec<_>>().join(".");
            if !short.is_empty() && !names.contains(&short) {
                prop_assert!(meant(&names, &short).contains(&names[which].as_str()));
            }
        }
    }
}
