/// Whether a character does more than show itself, or shows nothing: what a terminal obeys, what turns or hides the text
/// around it, what has no form of its own.
///
/// By Unicode's properties: the general categories Cc, Cf, Co, Zl and Zp, `Default_Ignorable_Code_Point` (which has soft
/// hyphens, fillers, selectors and tags) and `Noncharacter_Code_Point`, of Unicode 16. Code points without a meaning yet are not
/// in it: what they will be nobody knows, and a terminal shows them as boxes. Surrogates are no `char`.
#[must_use]
pub fn is_unsafe(c: char) -> bool {
    // Most of what is asked about; the table begins with what is not.
    if matches!(c, ' '..='~') {
        return false;
    }
    let c = u32::from(c);
    // The last two of every plane.
    if c & 0xfffe == 0xfffe {
        return true;
    }
    let next = UNSAFE.partition_point(|&(first, _)| first <= c);
    next > 0 && c <= UNSAFE[next - 1].1
}

/// First and last of each run, without the last two of each plane. Held against another library's tables in `tests/files/unsafe_text.rs`.
const UNSAFE: &[(u32, u32)] = &[
    (0x0, 0x1f),
    (0x7f, 0x9f),
    (0xad, 0xad),
    (0x34f, 0x34f),
    (0x600, 0x605),
    (0x61c, 0x61c),
    (0x6dd, 0x6dd),
    (0x70f, 0x70f),
    (0x890, 0x891),
    (0x8e2, 0x8e2),
    (0x115f, 0x1160),
    (0x17b4, 0x17b5),
    (0x180b, 0x180f),
    (0x200b, 0x200f),
    (0x2028, 0x202e),
    (0x2060, 0x206f),
    (0x3164, 0x3164),
    (0xe000, 0xf8ff),
    (0xfdd0, 0xfdef),
    (0xfe00, 0xfe0f),
    (0xfeff, 0xfeff),
    (0xffa0, 0xffa0),
    (0xfff0, 0xfffb),
    (0x110bd, 0x110bd),
    (0x110cd, 0x110cd),
    (0x13430, 0x1343f),
    (0x1bca0, 0x1bca3),
    (0x1d173, 0x1d17a),
    (0xe0000, 0xe0fff),
    (0xf0000, 0xfffff),
    (0x10_0000, 0x10_ffff),
];
