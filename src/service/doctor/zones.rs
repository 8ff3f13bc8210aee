//! Are the rules of the clock current, for each garden's zone?

use super::{Doctor, Finding};
use crate::service::zones::{edition, remarks};
use std::collections::BTreeMap;

impl Doctor<'_> {
    pub(super) fn zones(&self) -> Vec<Finding> {
        let gardens = self.settings.gardens.iter().map(|settings| &settings.garden.zone);
        let zones: BTreeMap<&str, _> = gardens.map(|zone| (zone.name(), zone)).collect();
        let remarks = zones.values().flat_map(|zone| remarks(zone, self.system_zones, self.now));
        let mut findings: Vec<Finding> = remarks
            .map(|remark| match remark.is_grave {
                true => Finding::wrong("zone data", remark.text, remark.mend),
                false => Finding::note("zone data", remark.text, remark.mend),
            })
            .collect();
        if findings.is_empty() {
            let names: Vec<&str> = zones.into_keys().collect();
            let text = format!("edition {}; nothing known here contradicts it for {}", edition(), names.join(", "));
            findings.push(Finding::ok("zone data", text));
        }
        findings
    }
}
