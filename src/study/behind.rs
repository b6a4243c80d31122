//! What parts of unknown age may have behind them.

use std::collections::BTreeSet;

use super::Study;
use crate::family::{Family, MeasureChoice};
use crate::life::Life;
use crate::units::Measure;

impl Study {
    /// `also`, and the product groups on record of machines with parts whose use a fit cannot see: what these
    /// parts have behind them counts by those groups' wear factors.
    pub(super) fn with_groups_behind(
        &self,
        also: &[String],
        family: &Family,
        lives: &[&Life],
    ) -> Vec<String> {
        let measures = match family.measure {
            MeasureChoice::Fixed(Measure::Days) => return also.to_vec(),
            MeasureChoice::Fixed(measure) => vec![measure],
            MeasureChoice::Best => Measure::OF_USE.to_vec(),
        };
        let is_unseen = |l: &&&Life| {
            let mut spans = measures.iter().map(|m| l.filled[m.index()]);
            l.fitted.is_none() || spans.any(|span| span.end.is_none())
        };
        let places = lives.iter().filter(is_unseen).map(|l| {
            let position = self.records.position(&l.machine, &l.position);
            let bin = position.and_then(|p| p.bin.as_deref());
            (l.machine.as_str(), bin)
        });
        let names = self.groups.names();
        let mut behind: BTreeSet<&String> = also.iter().collect();
        for (machine, bin) in places.collect::<BTreeSet<_>>() {
            if names.iter().all(|name| behind.contains(name)) {
                break;
            }
            let path = self.sums.path(machine, bin);
            for measure in &measures {
                let used = path.recorded(*measure, 0, path.days().len());
                let seen = names.iter().zip(used).filter(|(_, used)| 0.0 < *used);
                behind.extend(seen.map(|(name, _)| name));
            }
        }
        behind.into_iter().cloned().collect()
    }
}
