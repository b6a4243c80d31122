//! What lies on the shelf beyond what is needed.

use super::Counter;
use super::wanted::Wanted;
use crate::cost::in_cents;
use crate::report::stock::IdleLine;

impl Counter<'_> {
    /// Parts on the shelf that nothing takes, or far fewer than lie there.
    pub(super) fn idle(&self, wanted: &[Option<Wanted<'_>>]) -> Vec<IdleLine> {
        // With some machines only, what the others take would look idle.
        if !self.study.options.machines.is_empty() {
            return Vec::new();
        }
        let level = 1.0 + self.study.records.settings.price_change;
        let mut idle: Vec<IdleLine> = Vec::new();
        for (part, held) in &self.shelf.held {
            let lines = &self.outlook.in_service.lines;
            let index = lines.iter().position(|l| l.part == *part);
            let index = index.filter(|l| self.states.in_use[*l]);
            // What cannot be forecast is not called idle.
            let (beyond, expected) = match index.map(|l| wanted[l].as_ref()) {
                Some(None) => continue,
                Some(Some(w)) => {
                    let enough = w.demand.least_for_chance(0.9).max(w.order_up_to);
                    (held.on_hand - enough, Some(w.demand.expected()))
                }
                None => (held.on_hand, None),
            };
            if beyond <= 0.0 {
                continue;
            }
            let listed = self.study.records.part(part);
            if listed.is_some_and(|p| !self.study.wants_family(&p.family)) {
                continue;
            }
            let price = index
                .and_then(|l| lines[l].cost.price)
                .or_else(|| listed.and_then(|p| p.price).map(|p| in_cents(p * level)));
            idle.push(IdleLine {
                part: (*part).to_owned(),
                family: listed.map(|p| p.family.clone()),
                description: listed.and_then(|p| p.description.clone()),
                on_hand: held.on_hand,
                idle: beyond,
                expected,
                money: price.map(|p| p * beyond),
            });
        }
        idle.sort_by(|a, b| {
            let money = |l: &IdleLine| l.money.unwrap_or(-1.0);
            money(b).total_cmp(&money(a)).then(a.part.cmp(&b.part))
        });
        idle
    }
}
