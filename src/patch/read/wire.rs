use crate::patch::check::view::{View, check_keys};
use crate::patch::model::Wire;
use crate::patch::read::fields::{Fields, Told};
use crate::patch::read::path::path;

/// Reads a `[wire.NAME]` table.
pub(in crate::patch) fn wire(fields: &mut Fields<'_, '_>, view: &View<'_>) -> Result<Wire, Told> {
    check_keys(&fields.section.fields, &["path"], "a wire", fields.faults);
    let path = path(fields, "path", view);
    let path = fields.needed("path", path, "write path = [\"OUTPUT\", \"STAGE\"], the way to this point")?;
    Ok(Wire { name: fields.section.name.text.clone(), path })
}
