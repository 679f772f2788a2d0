//! The page on kinds of boxes, made of the kit.

use crate::patch::like::box_kinds;
use std::fmt::Write as _;

const HEAD: &str = "\
# Kinds of boxes

`like = \"NAME\"` in the table of a sequencer brings what such a box does: which input it has, how it reads a reset, how many pulses make a
step. So a box is two or three lines of a patch:

```toml
# from patches/serial-beside-pulses.toml
[sequencer.moth]
like  = \"serial-24\"
steps = \"x.x.x.x.x.x.x.x.\"
```

- A key beside `like` holds instead of the kind's. `reset-mode` takes with it what belongs to the kind's own mode.
- How a reset is read counts only where there is a `reset`, which you write, but for those kinds that bring one.
- Without a `clock`, a box that is like something steps on the only output with a rate that is nobody's reset. Where there are several,
  or none, `clock` must be written.
- Without a `voice`, it plays the first of the built-in kit that nobody else plays.
- What a kind brings, outputs and stages, is added where the patch has none of that name: to set your own, define it. Where a name has the
  sequencer's in it, every box has one of its own; all others are shared.
- A kind is filled in before any fix: a fix sets the keys themselves, such as `reset-mode`, or gives a box the `reset` that it had not.
- Kinds of your own stand in the patch under a heading `[box.NAME]`, with the keys of a sequencer, `about`, `tell` and `brings`; or in a
  file of their own, `--boxes FILE`. One that has the name of a kind here takes its place.

`hitgap boxes` prints what follows, for programs with `--format json`. This page is made of the kit.

## Which do you own, in three minutes

Does a MIDI cable bring its clock? Then it is a `serial-24`, or where a computer makes the sound a `serial-24-computer`. Has it no reset at
all? Stop the clock for two seconds: a `waits-out-silence` begins at step 1, a `plays-on` goes on.

Else set a slow clock, two pulses a second, each half of the time high, and a long pattern of which you know step 1 by its sound. Send it a
reset now and then, from a second output, in four ways, and listen for when step 1 sounds:

| kind | reset with a pulse | 10 ms after a pulse began | 200 ms after, the pulse still high | held down from between two pulses on |
|---|---|---|---|---|
| `takes-high-pulse` | on the beat | at once | at once | with the next pulse |
| `takes-recent-pulse` | on the beat | at once | with the next pulse | with the next pulse |
| `waits-clock-first` | with the next pulse | with the next pulse | with the next pulse | with the next pulse |
| `waits-reset-first` | on the beat | with the next pulse | with the next pulse | with the next pulse |
| `jumps-at-once` | on the beat | at once | at once | at once |
| `stands-while-reset` | on the beat | at once | at once | at once, then silence |
| `looks-at-clock-edges` | on the beat | not at all | not at all | at every pulse |
| `plays-on` | not at all | not at all | not at all | not at all |

The same setting answers now so, now so? Then it `looks-now-and-then`. `hitgap identify` does this with sounds to compare, and knows more
ways of reading.

## The kinds
";

/// The page on kinds of boxes, as Markdown: how to find out which one owns, and each kind with what it says.
#[must_use]
pub fn boxes() -> String {
    let mut page = HEAD.to_owned();
    for kind in box_kinds() {
        let _ = write!(page, "\n### `{}`\n", kind.name());
        for words in [kind.about(), kind.tell()].into_iter().flatten() {
            let _ = write!(page, "\n{}{}.\n", words[..1].to_uppercase(), &words[1..]);
        }
        page += "\n| key | value |\n|---|---|\n";
        for (key, value) in kind.keys() {
            let _ = writeln!(page, "| `{key}` | `{value}` |");
        }
        for (path, value) in kind.brings() {
            let _ = writeln!(page, "| `brings.\"{path}\"` | `{value}` |");
        }
    }
    page
}
