use super::fields::{Fields, Told};
use super::model::Wire;
use super::path::path;
use super::view::{View, check_keys};

/// Reads a `[wire.NAME]` table.
pub(super) fn wire(fields: &mut Fields<'_, '_>, view: &View<'_>) -> Result<Wire, Told> {
    check_keys(&fields.section.fields, &["path"], "a wire", fields.faults);
    let path = path(fields, "path", view);
    let path = fields.needed("path", path, "write path = [\"OUTPUT\", \"STAGE\"], the way to this point")?;
    Ok(Wire { name: fields.section.name.text.clone(), path })
}
