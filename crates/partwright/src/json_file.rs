//! A JSON file that the user names, read with a limit.

use crate::failure::Failure;
use serde_json::Value;
use std::io::Read;
use std::path::Path;

/// Largest file.
const BYTES_MAX: u64 = 64 << 20;

/// The file's value. What cannot be opened or read is a failure of the machine, a file that is too large or no JSON a fault in the material.
pub fn read(path: &Path) -> Result<Value, Failure> {
    let shown = path.display().to_string();
    let file = std::fs::File::open(path).map_err(Failure::io(shown.clone()))?;
    let mut bytes = Vec::new();
    file.take(BYTES_MAX + 1).read_to_end(&mut bytes).map_err(Failure::io(shown.clone()))?;
    if bytes.len() as u64 > BYTES_MAX {
        return Err(Failure::MaterialSaid(format!("{shown}: the file is larger than {BYTES_MAX} bytes")));
    }
    serde_json::from_slice(&bytes).map_err(|e| Failure::MaterialSaid(format!("{shown}: this is no JSON: {e}")))
}
