//! What voices were played from when they were heard: the checksums of their files.

/// Whether texts are checksums of what voices are played from, one for each voice, or none at all.
pub(super) fn are_sounds(sounds: &[String], voices: usize) -> bool {
    // A voice has at most 127 files, of 64 digits each.
    const LONGEST: usize = 127 * 65;
    let good =
        |sound: &String| sound.len() <= LONGEST && sound.bytes().all(|b| matches!(b, b'0'..=b'9' | b'a'..=b'f' | b'+'));
    sounds.is_empty() || (sounds.len() == voices && sounds.iter().all(good))
}

/// Voices by their names and what they are played from.
pub(super) fn heard<'a>(voices: &'a [String], sounds: &'a [String]) -> impl Iterator<Item = (&'a str, &'a str)> {
    let sounds = sounds.iter().map(String::as_str).chain(std::iter::repeat(""));
    voices.iter().map(String::as_str).zip(sounds)
}
