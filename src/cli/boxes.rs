use super::args::{BoxesArgs, TableOrJson};
use super::{Failure, Outcome, load, terminal};
use crate::patch::{BoxKind, box_kinds};
use crate::show::report::{boxes_json, boxes_table};
use clap::Args;

#[derive(Args, Debug)]
pub(super) struct BoxesListArgs {
    #[command(flatten)]
    boxes: BoxesArgs,
    /// How to print the list
    #[arg(long, value_enum, default_value = "table")]
    format: TableOrJson,
}

pub(super) fn run(args: &BoxesListArgs) -> Result<Outcome, Failure> {
    let of_files = load::boxes(&args.boxes)?;
    // The first of a name holds.
    let of_kit = box_kinds().iter().filter(|kind| of_files.list().iter().all(|other| other.name() != kind.name()));
    let kinds: Vec<&BoxKind> = of_files.list().iter().chain(of_kit).collect();
    terminal::result(|out| match args.format {
        TableOrJson::Table => out.write_all(boxes_table(&kinds).as_bytes()),
        TableOrJson::Json => terminal::json(out, &boxes_json(&kinds)),
    })?;
    Ok(Outcome::Done)
}
