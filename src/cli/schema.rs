use super::{Failure, Outcome, terminal};
use crate::patch::SCHEMA;
use clap::Args;

#[derive(Args, Debug)]
pub(super) struct SchemaArgs {}

pub(super) fn run(_: &SchemaArgs) -> Result<Outcome, Failure> {
    terminal::result(|out| out.write_all(SCHEMA.as_bytes()))?;
    Ok(Outcome::Done)
}
