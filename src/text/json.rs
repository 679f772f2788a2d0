use super::{is_unsafe, tamed_json};
use std::io::{self, Write};

/// A writer of pieces of JSON, each of whole characters, that spells out what a terminal would obey.
pub struct TamedJson<'a>(&'a mut dyn Write);

impl<'a> TamedJson<'a> {
    /// A writer into another one.
    pub fn new(out: &'a mut dyn Write) -> Self {
        Self(out)
    }
}

impl Write for TamedJson<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let text = std::str::from_utf8(bytes).map_err(|e| io::Error::new(io::ErrorKind::InvalidData, e))?;
        match text.contains(|c| c != '\n' && is_unsafe(c)) {
            true => self.0.write_all(tamed_json(text).as_bytes())?,
            false => self.0.write_all(bytes)?,
        }
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        self.0.flush()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_terminal_would_obey_is_spelled_out_and_reads_the_same() {
        let value = serde_json::json!({ "name": "a\u{1b}[2Jb\u{202e}ü" });
        let mut bytes = Vec::new();
        serde_json::to_writer_pretty(TamedJson::new(&mut bytes), &value).expect("memory takes all");
        let text = String::from_utf8(bytes).expect("text");
        assert!(!text.contains(|c| c != '\n' && is_unsafe(c)) && text.contains('ü'), "{text:?}");
        assert_eq!(serde_json::from_str::<serde_json::Value>(&text).expect("JSON"), value);
    }
}
