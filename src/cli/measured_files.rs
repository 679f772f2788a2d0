//! What `measure` makes as files: a patch, hits as takes, pictures, a page.

use super::load::Loaded;
use super::{Failure, file, terminal};
use crate::export::put;
use crate::measure::{Recording, shots};
use crate::patch::{Asked, Patch};
use crate::show::album::measured_pictures;
use crate::show::page::measured_page;
use crate::show::report::{Measured, Origin, WrittenPatch, measured_patch, measured_take, plain, plugged_patch};
use crate::store::{Kind, sha256_file};
use clap::Args;
use std::path::{Path, PathBuf};

#[derive(Args, Debug)]
pub(super) struct MadeArgs {
    /// Write what was measured as a patch, with what makes each box late as a component; with --patch, as a fix of that patch in a
    /// file of its own
    #[arg(long, value_name = "FILE", conflicts_with = "plan")]
    write: Option<PathBuf>,
    /// Write also what cannot be told, as it lies
    #[arg(long, requires = "write")]
    accept: bool,
    /// Draw pictures: how late each box is over tempo, how that is spread, how its hits begin, and a typical one at each tempo
    #[arg(long, conflicts_with = "plan")]
    plot: bool,
    /// Write a page with all of it: measured.html
    #[arg(long, conflicts_with = "plan")]
    page: bool,
    /// Write the hits of each recording as a take: a CSV file that [hits.NAME] of a patch reads
    #[arg(long, conflicts_with = "plan")]
    onsets: bool,
    /// The folder that pictures, the page and takes go to; it is made if need be
    #[arg(long, value_name = "DIR", default_value = "out")]
    out: PathBuf,
    /// Write over files that are not this program's, or were changed since it made them
    #[arg(long)]
    overwrite: bool,
}

/// What files are made of.
pub(super) struct FilesAsked<'a> {
    pub(super) measured: &'a Measured<'a>,
    pub(super) recordings: &'a [&'a dyn Recording],
    pub(super) paths: &'a [&'a PathBuf],
    pub(super) rate: &'a str,
    pub(super) patch: Option<&'a Loaded>,
}

/// What was made.
pub(super) struct Made {
    /// Where it lies, as it may be printed.
    pub(super) files: Vec<String>,
    /// Why there is no patch, where one was asked for.
    pub(super) nothing: Option<Failure>,
}

/// Makes all files that are asked for.
///
/// # Errors
/// Exit status 2 where two recordings have one name, 3 for files and folders.
pub(super) fn make(args: &MadeArgs, of: &FilesAsked<'_>) -> Result<Made, Failure> {
    let mut files = Vec::new();
    let pictures = if args.plot || args.page {
        let findings = &of.measured.findings;
        let shot = |finding| shots(of.recordings, findings, finding);
        let shots = findings.findings.iter().map(shot).collect::<Result<Vec<_>, _>>();
        let shots =
            shots.map_err(|e| Failure::File(format!("error: a recording could not be read to its end: {e}")))?;
        measured_pictures(of.measured, &shots)
    } else {
        Vec::new()
    };
    if args.page {
        let drawn: Vec<Vec<String>> =
            pictures.iter().map(|all| all.iter().map(|picture| picture.svg.clone()).collect()).collect();
        files.push((Kind::Page, "measured.html".to_owned(), measured_page(of.measured, &drawn).into_bytes()));
    }
    if args.plot {
        let all = pictures.into_iter().flatten();
        files.extend(all.map(|picture| (Kind::Picture, picture.name, picture.svg.into_bytes())));
    }
    if args.onsets {
        for (number, path) in of.paths.iter().enumerate().take(of.measured.request.tempos.len()) {
            let name = format!("{}.onsets.csv", file::stem(path)?);
            if files.iter().any(|other| other.1.eq_ignore_ascii_case(&name)) {
                let found = format!("two recordings are called `{}`, and takes have their names", plain(&name));
                return Err(Failure::input(found, "rename one of the two"));
            }
            let mut bytes = Vec::new();
            measured_take(of.measured, number, &mut bytes).map_err(Failure::Sink)?;
            files.push((Kind::Figures, name, bytes));
        }
    }
    let mut made = Made { files: Vec::new(), nothing: None };
    if let Some(path) = &args.write {
        let written = written(args, of)?;
        for why in &written.left_out {
            terminal::say(&format!("note: {why}"));
        }
        match written.text {
            Some(text) => {
                file::write(path, text.as_bytes(), args.overwrite)?;
                made.files.push(plain(&path.display().to_string()));
            }
            None => {
                let help = "record what the first line asks for, and measure that";
                let shown = plain(&path.display().to_string());
                made.nothing = Some(Failure::input(format!("nothing is written to `{shown}`"), help));
            }
        }
    }
    if !files.is_empty() {
        made.files.extend(put((&args.out, args.overwrite), "measure", &files)?);
    }
    Ok(made)
}

/// The patch of what was measured; what is written is read once before, so that no file holds what no command takes.
fn written(args: &MadeArgs, of: &FilesAsked<'_>) -> Result<WrittenPatch, Failure> {
    let sum = |path: &&PathBuf| {
        sha256_file(path).map_err(|e| Failure::File(format!("error: `{}` could not be read: {e}", shown(path))))
    };
    let checksums = of.paths.iter().map(sum).collect::<Result<Vec<_>, _>>()?;
    let origin = Origin { rate: of.rate.to_owned(), checksums, accept: args.accept };
    let written = match of.patch {
        None => measured_patch(of.measured, &origin),
        Some(loaded) => plugged_patch(of.measured, &origin, &loaded.patch, &loaded.source)
            .map_err(|e| Failure::input(&e.says, &e.help))?,
    };
    if let Some(text) = &written.text
        && of.patch.is_none()
        && let Err(faults) = Patch::parse(text, &Asked::default())
    {
        return Err(Failure::input(format!("what was measured is no patch: {faults}"), "tell who keeps this program"));
    }
    Ok(written)
}

fn shown(path: &Path) -> String {
    plain(&path.display().to_string())
}
