use crate::patch::check::view::View;
use crate::patch::model::given::{Given, there};
use crate::patch::model::{Keys, Row, Takes, Wire};
use crate::patch::read::fields::{Fields, Told};
use crate::patch::read::values::{Values, check};

/// The keys of a wire.
pub(in crate::patch) static KEYS: Keys = Keys {
    what: "a wire",
    about: "a point that several paths share",
    rows: &[Row::needed(
        "path",
        Takes::Path,
        "write path = [\"OUTPUT\", \"STAGE\"], the way to this point",
        "the way to this point",
    )],
    rules: &[],
};

/// Reads a `[wire.NAME]` table.
pub(in crate::patch) fn wire(fields: &mut Fields<'_, '_>, view: &View<'_>) -> Result<Wire, Told> {
    check(fields, &KEYS);
    let path = there(Values::new(fields, &KEYS, Some(view)).path("path"))?;
    Ok(Wire { name: fields.section.name.text.clone(), path })
}
