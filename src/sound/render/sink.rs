use std::fs::File;
use std::io;
use std::sync::{Mutex, PoisonError};

/// Where finished bytes go, at the positions given, in any order and from any thread.
pub trait Sink: Sync {
    /// Writes all of `bytes` from `position` on.
    ///
    /// # Errors
    /// If not all could be written.
    fn write_at(&self, bytes: &[u8], position: u64) -> io::Result<()>;

    /// So many bytes from the start are written and will not change any more. Told now and then, in rising order.
    fn reached(&self, _bytes: u64) {}
}

impl Sink for File {
    #[cfg(unix)]
    fn write_at(&self, bytes: &[u8], position: u64) -> io::Result<()> {
        std::os::unix::fs::FileExt::write_all_at(self, bytes, position)
    }

    #[cfg(windows)]
    fn write_at(&self, mut bytes: &[u8], mut position: u64) -> io::Result<()> {
        while !bytes.is_empty() {
            let written = std::os::windows::fs::FileExt::seek_write(self, bytes, position)?;
            if written == 0 {
                return Err(io::ErrorKind::WriteZero.into());
            }
            bytes = &bytes[written..];
            position += written as u64;
        }
        Ok(())
    }
}

/// A file that is kept in memory.
#[derive(Debug, Default)]
pub struct Memory(Mutex<Vec<u8>>);

impl Memory {
    /// The bytes that were written.
    #[must_use]
    pub fn into_bytes(self) -> Vec<u8> {
        self.0.into_inner().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Sink for Memory {
    fn write_at(&self, bytes: &[u8], position: u64) -> io::Result<()> {
        let mut file = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let from = usize::try_from(position).map_err(|_| io::ErrorKind::FileTooLarge)?;
        let to = from + bytes.len();
        if file.len() < to {
            file.resize(to, 0);
        }
        file[from..to].copy_from_slice(bytes);
        Ok(())
    }
}
