//! The colours, for paper and for a dark page, and the style sheet that each picture carries.
//!
//! Colour is never the only code: every line has a dash and a mark of its own and its name beside it. The five colours
//! of lines differ in lightness as much as in hue, along blue and yellow rather than red and green, since those are what
//! is left to readers who lack one kind of cone; a test takes their distances as such readers see them. Bands are shades
//! of one grey, so that a print in black and white shows them too.

use std::fmt::Write;

/// How many colours of lines there are; beyond, they come again with other dashes.
pub(super) const COLOURS: usize = 5;

/// Dashes of lines, the first of them unbroken: five and seven have no factor in common, so that 35 lines differ.
const DASHES: [&str; 7] = ["none", "7 4", "2 3", "10 3 2 3", "14 4", "5 2 2 2 2 2", "1 4"];

/// A colour by what it is for: its name in style sheets, on paper, on a dark page.
struct Role {
    name: &'static str,
    light: &'static str,
    dark: &'static str,
}

const fn role(name: &'static str, light: &'static str, dark: &'static str) -> Role {
    Role { name, light, dark }
}

const GROUND: Role = role("ground", "#ffffff", "#15191b");
const INK: Role = role("ink", "#22282b", "#e6e8e6");
const SOFT: Role = role("soft", "#555e62", "#a9b1b3");
const GRID: Role = role("grid", "#d3d9d7", "#3a4346");
const AREA: Role = role("area", "#cfe0e6", "#23414d");
const BANDS: [Role; 5] = [
    role("band0", "#ffffff", "#15191b"),
    role("band1", "#f6f8f7", "#1c2123"),
    role("band2", "#eff2f0", "#232a2c"),
    role("band3", "#e9ecea", "#2a3133"),
    role("band4", "#e3e6e4", "#30373a"),
];
const LINES: [Role; COLOURS] = [
    role("line0", "#2f85c7", "#99cdff"),
    role("line1", "#621803", "#b57147"),
    role("line2", "#817d4f", "#efca7f"),
    role("line3", "#643272", "#6e7ecb"),
    role("line4", "#aa6383", "#957d7e"),
];

/// The style sheet that stands in every picture, always the same text: a page that allows styles by their checksum needs one
/// for all.
///
/// Every rule begins with `hg-`, so that a page may hold it any number of times; a page that has its own idea of a colour sets
/// `--hg-NAME`: ground, ink, soft, grid, area, band0 to band4, line0 to line4. A reader that knows neither variables nor media
/// gets the colours of paper.
#[must_use]
pub fn style() -> String {
    let mut out = String::new();
    let mut dark = String::new();
    let mut rule = |class: &str, property: &str, role: &Role| {
        let Role { name, light, dark: night } = role;
        let _ = write!(out, ".hg-{class}{{{property}:{light};{property}:var(--hg-{name},{light})}}");
        let _ = write!(dark, ".hg-{class}{{{property}:var(--hg-{name},{night})}}");
    };
    rule("ground", "fill", &GROUND);
    rule("ink", "fill", &INK);
    rule("soft", "fill", &SOFT);
    rule("rule", "stroke", &INK);
    rule("faint", "stroke", &SOFT);
    rule("grid", "stroke", &GRID);
    rule("area", "fill", &AREA);
    rule("halo", "stroke", &GROUND);
    for (n, role) in BANDS.iter().enumerate() {
        rule(&format!("b{n}"), "fill", role);
    }
    for (n, role) in LINES.iter().enumerate() {
        rule(&format!("s{n}"), "stroke", role);
        rule(&format!("f{n}"), "fill", role);
    }
    let base = ".hg-fig{font-family:\"Helvetica Neue\",Helvetica,Arial,\"Liberation Sans\",\"DejaVu Sans\",sans-serif}\
                .hg-fig text{unicode-bidi:isolate}\
                .hg-line{fill:none;stroke-width:2;stroke-linejoin:round;stroke-linecap:butt}\
                .hg-thin{fill:none;stroke-width:1}.hg-mark{stroke-width:1.2}";
    format!("{base}{out}@media screen and (prefers-color-scheme:dark){{{dark}}}")
}

/// The dash of the line of a number.
pub(super) fn dash(line: usize) -> &'static str {
    DASHES[line % DASHES.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    type Rgb = [f64; 3];

    /// From sRGB to linear light: IEC 61966-2-1.
    fn linear(hex: &str) -> Rgb {
        let channel = |at: usize| {
            let c = f64::from(u8::from_str_radix(&hex[at..at + 2], 16).expect("a colour")) / 255.0;
            if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
        };
        [channel(1), channel(3), channel(5)]
    }

    /// The contrast ratio of WCAG 2: (lighter + 0.05) / (darker + 0.05) of relative luminances.
    fn contrast(a: &str, b: &str) -> f64 {
        let luminance = |hex| {
            let [r, g, b] = linear(hex);
            0.2126 * r + 0.7152 * g + 0.0722 * b
        };
        let (a, b) = (luminance(a), luminance(b));
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    /// What is left of a colour where a kind of cone is missing: matrices of full severity of Machado, Oliveira and
    /// Fernandes, IEEE TVCG 15:1291, 2009 (the model is named in the colour-science library; the matrices from memory); on linear light.
    const CONES: [(&str, [Rgb; 3]); 4] = [
        ("all three", [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]),
        (
            "protanopia",
            [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
        ),
        (
            "deuteranopia",
            [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
        ),
        (
            "tritanopia",
            [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
        ),
    ];

    /// CIE 1976 L*a*b* of linear light under D65.
    fn lab([r, g, b]: Rgb) -> Rgb {
        let f = |t: f64| if t > 0.008856 { t.cbrt() } else { 7.787 * t + 16.0 / 116.0 };
        let x = f((0.4124 * r + 0.3576 * g + 0.1805 * b) / 0.9505);
        let y = f(0.2126 * r + 0.7152 * g + 0.0722 * b);
        let z = f((0.0193 * r + 0.1192 * g + 0.9505 * b) / 1.089);
        [116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)]
    }

    fn seen(hex: &str, matrix: &[Rgb; 3]) -> Rgb {
        let light = linear(hex);
        lab(matrix.map(|row| row.iter().zip(light).map(|(m, c)| m * c).sum::<f64>().clamp(0.0, 1.0)))
    }

    #[test]
    fn a_contrast_is_that_of_the_standard() {
        // Black on white is 21 by the definition; #767676 on white is the lightest grey that passes 4.5 (WCAG
        // techniques, from memory).
        assert!((contrast("#000000", "#ffffff") - 21.0).abs() < 1e-9);
        assert!(contrast("#767676", "#ffffff") >= 4.5 && contrast("#777777", "#ffffff") < 4.5);
    }

    /// WCAG 2.1: 3 for graphical objects (1.4.11), 4.5 for text (1.4.3). Lines cross all bands, so the one that is
    /// nearest in lightness counts.
    #[test]
    fn lines_and_text_stand_out_from_every_ground() {
        for ground in BANDS.iter().chain([&GROUND]) {
            for line in &LINES {
                for (a, b) in [(line.light, ground.light), (line.dark, ground.dark)] {
                    assert!(contrast(a, b) >= 3.0, "{} on {}: {:.2}", line.name, ground.name, contrast(a, b));
                }
            }
        }
        for ground in BANDS.iter().chain([&GROUND, &AREA]) {
            for text in [&INK, &SOFT] {
                for (a, b) in [(text.light, ground.light), (text.dark, ground.dark)] {
                    assert!(contrast(a, b) >= 4.5, "{} on {}: {:.2}", text.name, ground.name, contrast(a, b));
                }
            }
        }
    }

    /// A distance of 2.3 is just seen side by side (`JND_CIE1976` of the colour-science library, after Mahy and others 1994); 20 tells thin lines apart at some
    /// distance: a working figure without a source.
    #[test]
    fn lines_differ_for_every_kind_of_eye() {
        for (eye, matrix) in &CONES {
            for (n, a) in LINES.iter().enumerate() {
                for b in &LINES[n + 1..] {
                    for (a, b) in [(a.light, b.light), (a.dark, b.dark)] {
                        let (p, q) = (seen(a, matrix), seen(b, matrix));
                        let apart = p.iter().zip(q).map(|(x, y)| (x - y) * (x - y)).sum::<f64>().sqrt();
                        assert!(apart >= 20.0, "{a} and {b} are {apart:.1} apart for {eye}");
                    }
                }
            }
        }
    }

    #[test]
    fn lines_of_one_colour_have_different_dashes() {
        let looks: Vec<(usize, &str)> = (0..35).map(|n| (n % COLOURS, dash(n))).collect();
        for (n, look) in looks.iter().enumerate() {
            assert!(!looks[n + 1..].contains(look), "line {n}");
        }
    }
}
