//! Random small rigs, as the text of a patch: two to four boxes, up to five components.

/// Numbers that are as good as any, the same for one seed.
pub(super) struct Dice(u64);

impl Dice {
    pub(super) const fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1)
    }

    pub(super) fn upto(&mut self, n: usize) -> usize {
        // Marsaglia, Xorshift RNGs, J Stat Softw 8(14), 2003; the high bits are the better ones.
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        usize::try_from((self.0 >> 33) % n as u64).expect("small")
    }

    pub(super) fn one<'a, T: ?Sized>(&mut self, of: &[&'a T]) -> &'a T {
        of[self.upto(of.len())]
    }

    pub(super) fn chance(&mut self, of: usize) -> bool {
        self.upto(of) == 0
    }
}

const NAMES: [&str; 4] = ["ox", "wren", "moth", "heron"];

/// A rig that somebody could have, mostly with something wrong.
pub(super) fn rig(dice: &mut Dice) -> String {
    let boxes = 2 + dice.upto(3);
    let mut text = String::from("tempos = [60, 150]\nbars = 4\n");
    let shift = dice.one(&["0 ms", "0 ms", "1 ms", "-500 us", "3 ms"]);
    let width = dice.one(&["", "width = \"5 ms\"\n", "width = \"30 ms\"\n"]);
    text += "[clock.sixteenths]\nrate = \"4 per beat\"\n";
    text += &format!("[clock.home]\nrate = \"1 per 8 beats\"\nshift = \"{shift}\"\n{width}");
    text += "[clock.bar]\nrate = \"1 per 4 beats\"\n[clock.run]\nat = \"start\"\n";
    if dice.chance(3) {
        let delay = dice.one(&["40 us", "2.5 ms", "4 ms"]);
        text += &format!("[stage.idle]\nkind = \"delay\"\ndelay = \"{delay}\"\n");
    }
    text += "[stage.line]\nkind = \"delay\"\ndelay = { min = \"3 ms\", typ = \"3.5 ms\", max = \"3.7 ms\" }\n";
    text += "[stage.cable]\nkind = \"midi-cable\"\n";
    let wire = dice.chance(3);
    if wire {
        let path = dice.one(&["\"sixteenths\"", "[\"sixteenths\", \"line\"]"]);
        text += &format!("[wire.floor]\npath = {path}\n");
    }
    for (n, name) in NAMES.iter().enumerate().take(boxes) {
        let clock = match dice.upto(10) {
            0 => "[\"sixteenths\", \"line\"]",
            1 if wire => "\"wire.floor\"",
            2 if dice.chance(2) => "[\"sixteenths\", \"cable\"]",
            _ => "\"sixteenths\"",
        };
        text += &format!("[sequencer.{name}]\nclock = {clock}\nsteps = \"X...x...x...x...\"\nvoice = \"kick\"\n");
        if !dice.chance(6) {
            let reset = match dice.upto(10) {
                0 => "[\"home\", \"line\"]".to_owned(),
                1 => "\"bar\"".to_owned(),
                2 if n > 0 => format!("\"sequencer.{}.step-1\"", NAMES[n - 1]),
                _ => "\"home\"".to_owned(),
            };
            let mode =
                dice.one(&["this-clock", "this-clock", "next-clock", "next-clock", "immediate", "held", "sampled"]);
            text += &format!("reset = {reset}\nreset-mode = \"{mode}\"\n");
        }
        if dice.chance(4) {
            let offset = dice.one(&["1 ms", "-3 ms", "500 us"]);
            text += &format!("offset = \"{offset}\"\n");
        }
        if dice.chance(4) {
            let latency = dice.one(&["1.5 ms", "3.8 ms", "900 us"]);
            text += &format!("latency = \"{latency}\"\n");
        }
    }
    for n in 0..dice.upto(6) {
        let kind = match dice.upto(6) {
            0 => "kind = \"delay\"\ndelay = \"40 us\"",
            1 => "kind = \"delay\"\ndelay = { typ = \"1 us\", max = \"5 us\" }",
            2 => "kind = \"delay\"\ndelay = { min = \"3 ms\", typ = \"3.5 ms\", max = \"4 ms\" }",
            3 => "kind = \"delay\"\nrise = \"1 ms\"\nwidth = \"2 ms\"",
            4 => "kind = \"divide\"\nby = 2",
            _ => "kind = \"delay\"\nrise = \"40 us\"\nfall = \"2 ms\"",
        };
        text += &format!("[component.part-{n}]\n{kind}\n");
    }
    text
}
