//! The order list as CSV.

use super::{Table, forecast, forecast_header, heads, number, shown, word, words};
use crate::report::stock::StockReport;

/// A row for each part number.
#[must_use]
pub fn stock(report: &StockReport) -> String {
    let mut header = heads("part,family,description,price,pack,lead_days");
    header.extend(forecast_header("demand"));
    header.extend(forecast_header("lead_demand"));
    header.extend(heads("reorder_point,order_up_to,on_hand,on_order,due,order_now,order_cost,fill_rate,no_stock_out,shortage,left_over,used_last_season,needed_before_season,taken_before_season,order_without_limit"));
    let mut table = Table::new(&header);
    for line in &report.lines {
        let mut cells = vec![
            words(&line.part),
            words(&line.family),
            word(line.description.as_ref()),
            number(line.price),
            line.pack.to_string(),
            number(line.lead_days),
        ];
        cells.extend(forecast(line.demand.as_ref()));
        cells.extend(forecast(line.lead_demand.as_ref()));
        cells.extend([
            number(line.reorder_point),
            number(line.order_up_to),
            number(line.on_hand),
            number(line.on_order),
            shown(line.due),
            number(line.order_now),
            number(line.order_cost),
            number(line.fill_rate),
            number(line.no_stock_out),
            number(line.shortage),
            number(line.left_over),
            number(line.used),
            number(line.needed_before),
            number(line.taken_before),
            number(line.wanted),
        ]);
        table.row(cells);
    }
    table.text()
}
