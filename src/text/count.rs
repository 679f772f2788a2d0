/// More than one of a thing that goes by the usual rules of English: `fixes`, `boxes`, `trials`.
#[must_use]
pub fn plural(noun: &str) -> String {
    let ending =
        if noun.ends_with(['s', 'x', 'z']) || noun.ends_with("ch") || noun.ends_with("sh") { "es" } else { "s" };
    format!("{noun}{ending}")
}

/// A number of things: `1 trial`, `2 trials`.
#[must_use]
pub fn counted(count: usize, noun: &str) -> String {
    if count == 1 { format!("1 {noun}") } else { format!("{count} {}", plural(noun)) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_is_one() {
        assert_eq!([0, 1, 2].map(|n| counted(n, "trial")), ["0 trials", "1 trial", "2 trials"]);
        assert_eq!(["fix", "switch", "output", "stage"].map(plural), ["fixes", "switches", "outputs", "stages"]);
    }
}
