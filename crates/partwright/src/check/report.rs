//! The findings as one page in a file: drawn and put together by `bench`, its sounds inside.

use super::record::PassageChecked;
use crate::audio;
use crate::failure::Failure;
use crate::folder::Found;
use crate::store::write_whole;
use bench::report::{Dress, Item, address_of, page, snippets};
use std::collections::BTreeMap;
use std::path::Path;
use wave::Buffer;

/// Writes the page; never into the pack, which is for pupils.
pub fn write(found: &Found, checked: &[PassageChecked], file: &Path) -> Result<(), Failure> {
    let folder = file.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let inside = |pack: std::io::Result<std::path::PathBuf>| pack.ok().zip(folder.canonicalize().ok()).is_some_and(|(pack, at)| at.starts_with(pack));
    if inside(found.folder.join("pack").canonicalize()) {
        return Err(Failure::Usage(format!("{}: the pack is for pupils, and the report holds pieces of your record; write it elsewhere", file.display())));
    }
    if file.extension().is_none_or(|e| e != "html") {
        return Err(Failure::Usage(format!("{}: the report is a page; end its name in .html", file.display())));
    }
    let lesson = &found.lesson;
    let mut records: BTreeMap<&str, Buffer> = BTreeMap::new();
    for c in checked.iter().filter(|c| !c.checked.findings.is_empty()) {
        let name = c.checked.file.as_str();
        if !records.contains_key(name) {
            records.insert(name, audio::read(&found.folder.join(name))?.0);
        }
    }
    let mut items = Vec::new();
    for c in checked {
        let Some(passage) = lesson.passages.iter().find(|p| p.id == c.checked.id) else { continue };
        let Some(record) = records.get(c.checked.file.as_str()) else { continue };
        for finding in &c.checked.findings {
            let sounds = snippets(passage, &c.checked, finding, record).and_then(|[r, p]| Ok([address_of(&r)?, address_of(&p)?])).unwrap_or_default();
            // The numbers are those that `--accept` takes.
            items.push(Item { number: items.len() + 1, passage, checked: &c.checked, finding, record, since: None, sounds });
        }
    }
    let summary: Vec<(String, String, Vec<String>)> = checked.iter().map(|c| (c.title.clone(), bench::report::fared(&c.checked), c.checked.limits.clone())).collect();
    write_whole(file, page(&lesson.title, &summary, &items, Dress::Inside).as_bytes(), false)
}
