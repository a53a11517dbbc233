//! A description of table files for other programs.

use crate::{Column, Kind, Schema};
use serde_json::{Value, json};

/// The Data Package (<https://datapackage.org/standard/data-package/>, with Table Schema) of these files: path and columns of each. Units,
/// which the standard has no place for, stand under `unit`.
pub fn dictionary(name: &str, files: &[(String, Schema)]) -> Value {
    let resources: Vec<Value> = files.iter().map(|(path, schema)| resource(path, schema)).collect();
    json!({ "$schema": "https://datapackage.org/profiles/2.0/datapackage.json", "name": name, "resources": resources })
}

fn resource(path: &str, schema: &Schema) -> Value {
    let (stem, ending) = path.rsplit_once('.').unwrap_or((path, ""));
    let name: String =
        stem.chars().map(|c| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' }).collect();
    let mut resource = json!({
        "name": name,
        "path": path,
        "format": ending,
        "description": schema.about,
        "schema": {
            "$schema": "https://datapackage.org/profiles/2.0/tableschema.json",
            "id": schema.id,
            "fields": schema.columns.iter().map(field).collect::<Vec<_>>(),
            "missingValues": [""],
        },
    });
    if ending == "csv" {
        resource["encoding"] = "utf-8".into();
        resource["mediatype"] = "text/csv".into();
    }
    resource
}

fn field(column: &Column) -> Value {
    let kind = match column.kind {
        Kind::Real => "number",
        Kind::Int32 | Kind::Int64 => "integer",
        Kind::Flag => "boolean",
        Kind::Text => "string",
        Kind::Instant => "datetime",
        Kind::Date => "date",
    };
    let mut field = json!({ "name": column.name, "type": kind, "description": column.about });
    if !column.unit.is_empty() {
        field["unit"] = column.unit.as_ref().into();
    }
    if column.required {
        field["constraints"] = json!({ "required": true });
    }
    field
}
