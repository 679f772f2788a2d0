//! Quantities with units: what is read, what is refused, and that nothing written is lost.

use hitgap::patch::quantity::{
    capacitance, drift, frequency, length, level, phase, rate, resistance, seconds, share, speed, temperature, time,
    voltage, whole_time,
};
use hitgap::time::Span;
use num_rational::Ratio;
use proptest::prelude::*;

fn help<T: std::fmt::Debug>(result: Result<T, hitgap::patch::quantity::QuantityError>) -> String {
    let error = result.expect_err("not a quantity");
    format!("{error}; {}", error.help())
}

#[test]
fn every_unit_is_read_exactly() {
    for (text, ps) in [
        ("5 ms", 5_000_000_000),
        ("5ms", 5_000_000_000),
        (" 40 us ", 40_000_000),
        ("40 \u{b5}s", 40_000_000),
        ("40 \u{3bc}s", 40_000_000),
        ("2 s", 2_000_000_000_000),
        ("350 ns", 350_000),
        ("7 ps", 7),
        ("-0.000001 ms", -1_000),
        ("\u{2212}1 ns", -1_000),
        ("+1 ns", 1_000),
        ("-0 ms", 0),
        ("100 ms", 100_000_000_000),
    ] {
        assert_eq!(whole_time(text), Ok(Span(ps)), "{text}");
        assert_eq!(time(text), Ok(Ratio::from_integer(i128::from(ps))), "{text}");
    }
    assert_eq!(time("0.001 ps"), Ok(Ratio::new(1, 1000)));
    assert_eq!(time("0.000000000000001 s"), Ok(Ratio::new(1, 1000)));
    assert_eq!(share("1 %"), Ok(Ratio::new(1, 100)));
    assert_eq!(share("-12.5pct"), Ok(Ratio::new(-1, 8)));
    assert_eq!(share("0.000000001 %"), Ok(Ratio::new(1, 100_000_000_000)));
    assert_eq!(frequency("120 Hz"), Ok(120.0));
    assert_eq!(frequency("1.5 kHz"), Ok(1500.0));
    assert_eq!(level("-6 dB"), Ok(-6.0));
    assert_eq!(length("3.4 m"), Ok(3.4));
    assert_eq!(length("12 cm"), Ok(0.12));
    assert_eq!(length("8mm"), Ok(0.008));
    for ohm in ["ohm", "\u{3a9}", "\u{2126}"] {
        assert_eq!(resistance(&format!("470 {ohm}")), Ok(470.0));
        assert_eq!(resistance(&format!("10 k{ohm}")), Ok(10_000.0));
        assert_eq!(resistance(&format!("4.7 M{ohm}")), Ok(4_700_000.0));
    }
    assert_eq!(capacitance("22 pF"), Ok(22e-12));
    assert_eq!(capacitance("100 nF"), Ok(100e-9));
    assert_eq!(
        [capacitance("4.7 uF"), capacitance("4.7 \u{b5}F"), capacitance("4.7\u{3bc}F")],
        [(); 3].map(|()| Ok(4.7e-6))
    );
    assert_eq!(capacitance("-1 F"), Ok(-1.0), "what is possible is for who reads it to say");
    assert_eq!(voltage("5 V"), Ok(5.0));
    assert_eq!(voltage("-700 mV"), Ok(-0.7));
    assert_eq!(speed("2.5 m/s"), Ok(2.5));
    assert_eq!([temperature("20 \u{b0}C"), temperature("20 C"), temperature("20\u{2103}")], [(); 3].map(|()| Ok(20.0)));
    assert_eq!(temperature("-273.15 C"), Ok(-273.15));
    assert_eq!(drift("30 ppm"), Ok(30e-6));
    assert_eq!(drift("0.01 %"), Ok(1e-4));
    assert_eq!(seconds("22 ms"), Ok(0.022));
    assert_eq!(seconds("0.3 us"), Ok(0.000_000_3));
}

#[test]
fn a_rate_is_read_as_its_period() {
    for (text, period) in [
        ("4 per beat", Ratio::new(1, 4)),
        ("1 per 8 beats", Ratio::from_integer(8)),
        ("3 per 2 beats", Ratio::new(2, 3)),
        ("1 per 1 beat", Ratio::from_integer(1)),
        (" 10000  per  10000 beats ", Ratio::from_integer(1)),
    ] {
        assert_eq!(rate(text), Ok(period), "{text}");
    }
    assert_eq!(help(rate("0.5 per beat")), "`0.5` is not a whole number; write \"1 per 2 beats\"");
    assert_eq!(help(rate("1 per 2.5 beats")), "`2.5` is not a whole number; write \"2 per 5 beats\"");
    assert_eq!(
        help(rate("10001 per beat")),
        "`10001` in a rate is out of bounds: 1 to 10000, whole numbers; write a rate such as \"4 per beat\" or \"1 per 8 beats\""
    );
    for text in [
        "",
        "4",
        "per beat",
        "4 per",
        "0 per beat",
        "1 per 0 beats",
        "-1 per beat",
        "1 per 2",
        "1 per beat x y",
        "4/beat",
    ] {
        assert!(rate(text).is_err(), "{text}");
    }
}

#[test]
fn a_refusal_says_what_to_write() {
    assert_eq!(help(time("5")), "`5` has no unit; write \"5 ms\"");
    assert_eq!(help(share("1")), "`1` has no unit; write \"1 %\"");
    assert_eq!(help(frequency("120")), "`120` has no unit; write \"120 Hz\"");
    assert_eq!(help(level("-6")), "`-6` has no unit; write \"-6 dB\"");
    assert_eq!(help(time("2,5 ms")), "`2,5 ms` has a comma in its number; write \"2.5 ms\"");
    assert_eq!(help(time("5 MS")), "`MS` is not a unit of time; write \"5 ms\"");
    assert_eq!(
        help(time("5 Hz")),
        "`Hz` is not a unit of time; write a time with its unit, such as \"5 ms\", \"40 us\" or \"2 s\""
    );
    assert_eq!(
        help(time("1e3 ms")),
        "`1e3 ms` has an exponent; numbers are written out; write a time with its unit, such as \"5 ms\", \"40 us\" or \"2 s\""
    );
    assert_eq!(
        help(whole_time("0.5 ps")),
        "`0.5 ps` is finer than a picosecond; write a time of whole picoseconds, such as \"40 us\" or \"350 ps\""
    );
    for text in [
        "",
        "ms",
        "nan ms",
        "inf s",
        "-inf ms",
        ".5 ms",
        "5. ms",
        "1.2.3 ms",
        "--5 ms",
        "0x5 ms",
        "1_0 ms",
        "\u{1b}[31m",
    ] {
        assert!(time(text).is_err(), "{text}");
    }
    assert!(time("0.0001 ps").is_err(), "finer than a femtosecond");
    assert!(time("8640001 s").is_err(), "over 100 days");
    assert!(time("8640000 s").is_ok(), "100 days");
    assert!(share("0.0000000001 %").is_err(), "finer than 9 decimals");
    assert!(share("1000000.1 %").is_err());
    assert!(frequency("-1 Hz").is_err());
    assert_eq!(help(resistance("10")), "`10` has no unit; write \"10 ohm\"");
    assert_eq!(help(resistance("10 K\u{3a9}")), "`K\u{3a9}` is not a unit of resistance; write \"10 k\u{3a9}\"");
    assert_eq!(
        help(resistance("10 mohm")),
        "`mohm` is not a unit of resistance; write a resistance with its unit, such as \"10 kohm\" or \"470 ohm\"",
        "megohm or milliohm: nothing is guessed"
    );
    assert_eq!(help(capacitance("100 NF")), "`NF` is not a unit of capacitance; write \"100 nF\"");
    assert_eq!(help(voltage("5 v")), "`v` is not a unit of voltage; write \"5 V\"");
    assert_eq!(help(temperature("20 c")), "`c` is not a unit of temperature; write \"20 C\"");
    assert!(temperature("68 F").is_err() && speed("7 km/h").is_err() && length("1 in").is_err());
}

#[test]
fn phase_is_taken_round_the_period() {
    let p = |text: &str| phase(share(text).expect(text));
    assert_eq!(p("99 %"), p("-1 %"));
    assert_eq!(p("50 %"), Ratio::new(1, 2));
    assert_eq!(p("-50 %"), Ratio::new(1, 2));
    assert_eq!(p("-49.5 %"), Ratio::new(-99, 200));
    assert_eq!(p("300 %"), Ratio::from_integer(0));
}

proptest! {
    /// A time written in any unit is the whole number of picoseconds that integer arithmetic gives.
    #[test]
    fn times_are_exact(
        whole in 0_i128..1_000_000, part in 0_i128..1000, negative in any::<bool>(), blank in any::<bool>(),
        unit in prop::sample::select(vec![("ns", 1_000_i128), ("us", 1_000_000), ("ms", 1_000_000_000), ("s", 1_000_000_000_000)]),
    ) {
        let (spelling, ps) = unit;
        let text = format!("{}{whole}.{part:03}{}{spelling}", if negative { "-" } else { "" }, if blank { " " } else { "" });
        let expected = (whole * 1000 + part) * (ps / 1000) * if negative { -1 } else { 1 };
        prop_assert_eq!(time(&text).map(|t| t.to_integer()), Ok(expected));
        prop_assert_eq!(whole_time(&text).map(|t| i128::from(t.0)), Ok(expected));
    }

    /// Phase only ever moves by whole periods, into the half-open range.
    #[test]
    fn phase_moves_by_whole_periods(n in -1_000_000_i128..1_000_000, d in 1_i128..10_000) {
        let (given, taken) = (Ratio::new(n, d), phase(Ratio::new(n, d)));
        prop_assert!((given - taken).is_integer());
        prop_assert!(taken > Ratio::new(-1, 2) && taken <= Ratio::new(1, 2));
    }

    /// Nothing panics, whatever is read, and a refusal never repeats what a terminal would obey.
    #[test]
    fn any_text_is_answered(text in any::<String>(), number in "[-+0-9.,eE]{0,50}", unit in "( |ms|s|%|Hz|kHz|dB|m|\u{1b}|per|beat|ohm|\u{2126}|nF|V|C|ppm){0,4}") {
        for text in [text, number.clone() + &unit, format!("{number} per {number} beats")] {
            let errors = [
                time(&text).err(), whole_time(&text).err(), share(&text).err(), frequency(&text).err(), level(&text).err(),
                length(&text).err(), rate(&text).err(), seconds(&text).err(), resistance(&text).err(),
                capacitance(&text).err(), voltage(&text).err(), speed(&text).err(), temperature(&text).err(),
                drift(&text).err(),
            ];
            for error in errors.into_iter().flatten() {
                let told = format!("{error} {}", error.help());
                prop_assert!(!told.contains(char::is_control), "{told:?}");
            }
        }
    }

    /// A number of as many digits as is allowed overflows nothing.
    #[test]
    fn digits_are_bounded(number in "[0-9]{1,18}\\.[0-9]{1,18}", more in "[1-9][0-9]{18,60}") {
        for unit in ["ps", "s", "%", "Hz", "dB", "m", "Mohm", "pF", "V", "m/s", "C", "ppm"] {
            let text = format!("{number} {unit}");
            let _ = (time(&text), share(&text), frequency(&text), level(&text), length(&text));
            let _ = (resistance(&text), capacitance(&text), voltage(&text), speed(&text), temperature(&text), drift(&text));
            let long = format!("{more} s");
            prop_assert!(time(&long).is_err());
        }
    }
}
