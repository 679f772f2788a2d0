//! Faults of a chapter that show only when its patch has been read.

use super::check::fault::{Faults, VariantError};
use super::read::lesson::{Chapter, Spot};
use super::{ORIGINAL, Patch};

impl Spot {
    /// Looks whether what is named here is a fix of a patch, or several joined by `+`. What only two fixes together bring is no fault of
    /// the lesson, and is left to whoever builds the variant.
    ///
    /// # Errors
    /// If it is no fix, or the original.
    pub fn check_fix(&self, patch: &Patch) -> Result<(), Faults> {
        if self.text.trim() == ORIGINAL {
            let message = "`original` is what every fix is held against";
            return Err(self.fault(message, "expected the name of a fix", "name fixes only"));
        }
        match patch.variant(&self.text) {
            Ok(_) | Err(VariantError::Together(_)) => Ok(()),
            Err(e) => Err(self.fault(&e.to_string(), "not a fix of this patch", &e.help())),
        }
    }
}

impl Chapter {
    /// How many bars go round at first, where the chapter says so; `available` are played whole after the first reset.
    ///
    /// # Errors
    /// If it asks for more.
    pub fn loop_bars(&self, available: u32) -> Result<Option<u32>, Faults> {
        let Some(spot) = &self.looped else { return Ok(None) };
        let bars: u32 = spot.text.parse().unwrap_or(u32::MAX);
        if bars > available {
            let message = format!("`loop` is {bars} bars, and after the first reset {available} are played whole");
            let label = format!("expected at most {available}");
            return Err(spot.fault(&message, &label, "loop fewer bars, or raise `bars`"));
        }
        Ok(Some(bars))
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Asked, ChapterContent, Lesson};
    use super::*;

    const PATCH: &str = "tempos = [60]\nbars = 1\n[clock.beats]\nrate = \"1 per beat\"\n[sequencer.ox]\nclock = \"beats\"\nsteps = \"x\"\n\
                         voice = \"kick\"\n[fix.late]\nset.\"clock.beats.phase\" = \"1 %\"\n";

    fn chapter(fixes: &str) -> Chapter {
        let text = format!(
            "title = \"a\"\n[[chapter]]\nheading = \"b\"\ntext = \"c\"\npatch = \"d.toml\"\nfixes = {fixes}\nloop = 3\n"
        );
        Lesson::parse(&text).map_err(|f| f.render("l", &text, false)).expect("a lesson").chapters.remove(0)
    }

    #[test]
    fn fixes_are_looked_for_in_the_patch() {
        let patch = Patch::parse(PATCH, &Asked::default()).expect("a patch");
        let says = |fixes: &str| {
            let ChapterContent::Patch(setting) = chapter(fixes).played else { unreachable!("it names a patch") };
            setting.fixes.iter().try_for_each(|spot| spot.check_fix(&patch)).map_err(|faults| faults.to_string())
        };
        assert_eq!(says("[\"late\"]"), Ok(()));
        assert!(says("[\"late\", \"later\"]").is_err_and(|e| e.contains("later")));
        assert!(says("[\"original\"]").is_err_and(|e| e.contains("every fix is held against")));
    }

    #[test]
    fn a_loop_is_no_longer_than_what_is_played() {
        let chapter = chapter("[\"late\"]");
        assert_eq!(chapter.loop_bars(3), Ok(Some(3)));
        assert!(chapter.loop_bars(2).is_err_and(|e| e.to_string().contains("3 bars")));
        assert_eq!(Chapter { looped: None, ..chapter }.loop_bars(0), Ok(None));
    }
}
