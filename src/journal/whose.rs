//! Whose journal an exported folder is: a table of one row beside the others.

use crate::beds::Garden;

/// The name of its file.
pub const FILE: &str = "garden.csv";

const COLUMNS: [&str; 2] = ["garden", "name"];

/// The table of a garden: its identifier, and its name for whoever reads along.
pub fn write(garden: &Garden) -> String {
    let mut table = csv::Writer::from_writer(Vec::new());
    // Writing into memory does not fail.
    let _ = table.write_record(COLUMNS);
    let _ = table.write_record([&garden.id, &garden.name]);
    String::from_utf8(table.into_inner().unwrap_or_default()).unwrap_or_default()
}

/// The identifier and the name of the garden in such a table.
pub fn read(body: &[u8]) -> Result<(String, String), String> {
    let mut table = csv::Reader::from_reader(body);
    let is_one = table.headers().is_ok_and(|names| names.iter().eq(COLUMNS));
    let record = table.records().next().and_then(Result::ok).filter(|_| is_one);
    match record.as_ref().and_then(|record| Some((record.get(0)?, record.get(1)?))) {
        Some((garden, name)) => Ok((garden.to_string(), name.to_string())),
        None => Err(format!("it does not say whose journal this is: a line {} and one more", COLUMNS.join(","))),
    }
}
