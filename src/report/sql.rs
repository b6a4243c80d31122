//! The query that makes daily sums of use from a usage log, for those who keep it in a database.
//!
//! Standard SQL (ISO/IEC 9075): names in double quotes, and nothing that only one program knows.

/// Headers of the usage log as they stand in its file, and of the products where they have groups.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct LogColumns {
    /// The day.
    pub date: String,
    /// Machine.
    pub machine: String,
    /// Product.
    pub product: String,
    /// Bin, where there is such a column.
    pub bin: Option<String>,
    /// Amounts, each with its unit.
    pub amounts: Vec<String>,
    /// The table of products, where it has groups.
    pub products: Option<ProductColumns>,
}

/// Headers of the table of products.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ProductColumns {
    /// Product.
    pub product: String,
    /// What wear is compared by.
    pub group: String,
}

/// A name in double quotes.
fn name(text: &str) -> String {
    format!("\"{}\"", text.replace('"', "\"\""))
}

/// The sum of an amount over the rows of a product's day: none where a load that has another amount
/// leaves this one out beside loads that have both.
fn sum(amount: &str, all: &[String]) -> String {
    let both = |other: &String| {
        let rows = |is: &str| format!("COUNT(CASE WHEN u.{amount} IS {is} THEN u.{other} END) > 0");
        format!("{} AND {}", rows("NULL"), rows("NOT NULL"))
    };
    let others = all.iter().filter(|other| *other != amount);
    let left_out: Vec<String> = others.map(both).collect();
    if left_out.is_empty() {
        return format!("SUM(u.{amount}) AS {amount}");
    }
    format!(
        "CASE WHEN {} THEN NULL ELSE SUM(u.{amount}) END AS {amount}",
        left_out.join("\n      OR ")
    )
}

/// The query; its result is what `--usage-sums` takes.
///
/// Rows of a product add up over the day as the records have it. A group of which some product's
/// day leaves a measure out has no sum in it: what is unknown is not counted as nothing.
#[must_use]
pub fn usage_sums(columns: &LogColumns) -> String {
    let product = format!("u.{}", name(&columns.product));
    // A product without a group is a group of its own.
    let group = columns.products.as_ref().map_or_else(
        || product.clone(),
        |p| format!("COALESCE(NULLIF(p.{}, ''), {product})", name(&p.group)),
    );
    let bin = columns.bin.as_ref().map(|bin| format!("u.{}", name(bin)));
    let keys = [
        (Some(format!("u.{}", name(&columns.date))), "date"),
        (Some(format!("u.{}", name(&columns.machine))), "machine"),
        (bin, "bin"),
        (Some(group), "group"),
    ];
    let keys: Vec<(String, String)> = keys
        .into_iter()
        .filter_map(|(from, to)| Some((from?, name(to))))
        .collect();
    let amounts: Vec<String> = columns.amounts.iter().map(|a| name(a)).collect();
    let listed = |lines: &[String], indent: &str| lines.join(&format!(",\n{indent}"));
    let outer: Vec<String> = keys
        .iter()
        .map(|(_, to)| to.clone())
        .chain(amounts.iter().map(|amount| {
            format!("CASE WHEN COUNT(*) = COUNT({amount}) THEN SUM({amount}) END AS {amount}")
        }))
        .collect();
    let inner: Vec<String> = keys
        .iter()
        .map(|(from, to)| format!("{from} AS {to}"))
        .chain(amounts.iter().map(|a| sum(a, &amounts)))
        .collect();
    let mut by: Vec<String> = keys.iter().map(|(from, _)| from.clone()).collect();
    if columns.products.is_some() {
        by.push(product.clone());
    }
    let to: Vec<&str> = keys.iter().map(|(_, to)| to.as_str()).collect();
    let to = to.join(", ");
    let join = columns
        .products
        .as_ref()
        .map_or_else(String::new, |products| {
            let (key, of) = (name(&products.product), name(&products.group));
            // One row a product: one that is listed twice doubles no use.
            format!(
                "  LEFT JOIN (\n    SELECT {key}, MIN({of}) AS {of} FROM \"products\" GROUP BY {key}\n  ) \
                 AS p ON p.{key} = {product}\n"
            )
        });
    format!(
        "-- Daily sums of use by machine, bin and product group, for `--usage-sums`.\n\
         -- Save the result as CSV with a header, or as Parquet.\n\
         SELECT\n  {}\nFROM (\n  SELECT\n    {}\n  FROM \"usage\" AS u\n{join}  \
         GROUP BY\n    {}\n) AS days\nGROUP BY {to}\nORDER BY {to};\n",
        listed(&outer, "  "),
        listed(&inner, "    "),
        listed(&by, "    "),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_log_without_bins_or_groups_needs_no_join() {
        let columns = LogColumns {
            date: "Date".to_owned(),
            machine: "machine".to_owned(),
            product: "a \"product\"".to_owned(),
            amounts: vec!["hectares".to_owned()],
            ..LogColumns::default()
        };
        let sql = usage_sums(&columns);
        assert!(
            sql.contains("u.\"a \"\"product\"\"\" AS \"group\""),
            "{sql}"
        );
        assert!(sql.contains("SUM(u.\"hectares\") AS \"hectares\""), "{sql}");
        assert!(!sql.contains("JOIN") && !sql.contains("\"bin\""), "{sql}");
    }
}
