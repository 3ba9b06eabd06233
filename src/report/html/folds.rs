//! Which parts of a page are folded, and what is said of them in one line.

use crate::findings::Status;
use crate::report::phrases::count;
use crate::report::{Audit, PartReport};

/// Bars of all parts together that a page shows at once.
const SHOWN: usize = 100;

/// Whether each part is open: not where nothing was found, and of a long score the
/// first ones alone.
pub fn open(audit: &Audit) -> Vec<bool> {
    let mut shown = 0;
    let parts = audit.parts.iter().map(|part| {
        let compared = || part.looked_at().len().saturating_sub(part.scope.edition_rest);
        let bars = if part.only.is_none() { compared() } else { part.looked_at().len() };
        let is_open = !is_plain(part) && (shown == 0 || shown + bars <= SHOWN);
        shown += if is_open { bars } else { 0 };
        is_open
    });
    parts.collect()
}

fn is_plain(part: &PartReport) -> bool {
    part.findings.is_empty() && part.passages.is_empty()
}

/// How much was found in a part.
pub fn found(part: &PartReport) -> String {
    if is_plain(part) {
        return "nothing found".into();
    }
    let of = |status: Status| part.totals.values().filter_map(|counts| counts.get(&status)).sum::<usize>();
    let all = [Status::Added, Status::Omitted, Status::Altered].map(|status| (of(status), status.name()));
    let some: Vec<String> = all.iter().filter(|(n, _)| *n > 0).map(|(n, status)| format!("{n} {status}")).collect();
    let passages = match part.passages.len() {
        0 => String::new(),
        n => format!("; {}", count(n, "passage")),
    };
    match some.is_empty() {
        true => count(part.passages.len(), "passage"),
        false => some.join(", ") + &passages,
    }
}
