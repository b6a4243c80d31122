//! What stands in the blank workbook: a sheet a table, a column with its rule and its note.

use crate::record::example;

/// What may stand in a column.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Rule {
    /// Any words.
    Words,
    /// A day.
    Day,
    /// A day, or the word `unknown`.
    DayOrUnknown,
    /// A month.
    Month,
    /// A number of 0 or more.
    Number,
    /// A number of either sign.
    Signed,
    /// A number above 0.
    Positive,
    /// A whole number of 1 or more.
    Count,
    /// A name that a column of another sheet lists: sheet, column.
    Listed(&'static str, &'static str),
    /// One of these words and no other.
    Choice(&'static [&'static str]),
    /// A family: those that are built in are offered, others may be typed.
    Family,
}

/// A column: heading, whether it is needed, its rule, and its note in plain words.
#[derive(Clone, Copy, Debug)]
pub(super) struct Column {
    pub(super) name: &'static str,
    pub(super) needed: bool,
    pub(super) rule: Rule,
    pub(super) note: &'static str,
}

/// A sheet: its table, what it is for, and rows that show how.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sheet {
    pub(super) name: &'static str,
    pub(super) about: &'static str,
    pub(super) columns: &'static [Column],
    pub(super) examples: &'static [&'static [&'static str]],
}

const fn must(name: &'static str, rule: Rule, note: &'static str) -> Column {
    Column {
        name,
        needed: true,
        rule,
        note,
    }
}

const fn may(name: &'static str, rule: Rule, note: &'static str) -> Column {
    Column {
        name,
        needed: false,
        rule,
        note,
    }
}

const MACHINE: Column = must(
    "machine",
    Rule::Listed("machines", "machine"),
    "Which spreader: a name from the sheet `machines`.",
);
const POSITION: Column = must(
    "position",
    Rule::Listed("positions", "position"),
    "Where on the machine: a name from the sheet `positions`.",
);
const PRODUCT: Column = must(
    "product",
    Rule::Listed("products", "product"),
    "What was spread: a name from the sheet `products`.",
);
const ACRES: Column = may(
    "acres",
    Rule::Number,
    "Acres covered. Leave empty where you do not know; an empty cell is never taken as 0.",
);
const TONS: Column = may(
    "tons",
    Rule::Number,
    "Short tons (2,000 lb) spread. Leave empty where you do not know.",
);
const HOURS: Column = may(
    "hours",
    Rule::Number,
    "Hours with the spinners on. Leave empty where you do not know.",
);
const BIN: Column = may(
    "bin",
    Rule::Words,
    "Only for machines with more than one bin: which one, in the same words as on the sheet `positions`.",
);
const SLOT: Column = may(
    "slot",
    Rule::Words,
    "Which of several alike, such as `left`. Empty: the oldest is taken to be meant.",
);
const NOTE: Column = may("note", Rule::Words, "Anything worth remembering.");

/// Every sheet, in the order they are best filled in.
pub(super) const SHEETS: [Sheet; 10] = [
    Sheet {
        name: "machines",
        about: "each spreader, and when it came into service",
        columns: &[
            must(
                "machine",
                Rule::Words,
                "What you call the spreader. Every other sheet uses this name.",
            ),
            must(
                "in_service",
                Rule::Day,
                "The day it was first used, such as 2023-11-01.",
            ),
            may(
                "records_from",
                Rule::Day,
                "For a used machine: the day your notes begin. From then on all use and all changes of parts must be written down. Empty: the day it came into service.",
            ),
            may(
                "retired",
                Rule::Day,
                "The day it left the fleet. Empty: it still works.",
            ),
            may(
                "site",
                Rule::Words,
                "Where it works, if you want to compare places.",
            ),
            may(
                "customer",
                Rule::Words,
                "Whose machine it is, if you keep records for others.",
            ),
        ],
        examples: &[&[
            example::MACHINE,
            example::IN_SERVICE,
            "",
            "",
            example::SITE,
            "",
        ]],
    },
    Sheet {
        name: "parts",
        about: "the parts list: one row a part number",
        columns: &[
            must("part", Rule::Words, "The part number, as you order it."),
            must(
                "family",
                Rule::Family,
                "The kind of part. Parts of one family are taken to live alike. Pick one, or type a name of your own.",
            ),
            may("description", Rule::Words, "The part in your own words."),
            may(
                "price",
                Rule::Number,
                "Price of one piece. Leave empty where you do not know; nothing is not free.",
            ),
            may(
                "pack",
                Rule::Count,
                "Sold only in multiples of this many. Empty: 1.",
            ),
            may(
                "labor_hours",
                Rule::Number,
                "Hours to change one, or one set where they are changed as a set.",
            ),
            may("lead_days", Rule::Number, "Days from order to delivery."),
            may(
                "lead_days_spread",
                Rule::Positive,
                "How sure that is: with 2, nine deliveries of ten take between half and twice the days.",
            ),
            may(
                "material",
                Rule::Words,
                "What it is made of, if you want to compare.",
            ),
            may(
                "replaces",
                Rule::Listed("parts", "part"),
                "The old number, where this one takes its place.",
            ),
            may(
                "kit",
                Rule::Words,
                "Parts with the same word here are changed together and share the labor.",
            ),
            may(
                "critical",
                Rule::Choice(&["stops", "degrades", "cosmetic"]),
                "What its failure does: the machine stops, works worse, or only looks worse.",
            ),
            may("min_order", Rule::Number, "The least you can order."),
        ],
        examples: &[
            &[
                "CHN-1",
                "conveyor-chain",
                "conveyor chain, one strand",
                "1650",
                "2",
                "8",
                "14",
                "",
                "",
                "",
                "",
                "stops",
                "",
            ],
            &[
                "FIN-1",
                "spinner-fin",
                "spinner fin",
                "62",
                "4",
                "1.5",
                "7",
                "",
                "",
                "",
                "",
                "degrades",
                "",
            ],
        ],
    },
    Sheet {
        name: "positions",
        about: "each place on a machine where a wear part sits",
        columns: &[
            MACHINE,
            must(
                "position",
                Rule::Words,
                "What you call the place, such as `left fins`. Each name once a machine.",
            ),
            must(
                "part",
                Rule::Listed("parts", "part"),
                "The part number fitted there at the start.",
            ),
            may(
                "quantity",
                Rule::Positive,
                "How many pieces the place holds. Empty: 1.",
            ),
            may(
                "bin",
                Rule::Words,
                "Only for machines with more than one bin: the bin whose product this part sees. Empty: all of the machine's work.",
            ),
            may(
                "installed",
                Rule::DayOrUnknown,
                "The day the first part was fitted, or the word unknown. Empty: the day the machine came into service.",
            ),
            may(
                "acres_before",
                Rule::Number,
                "Acres the part already had behind it when your notes begin.",
            ),
            may(
                "tons_before",
                Rule::Number,
                "Tons the part already had behind it when your notes begin.",
            ),
            may(
                "hours_before",
                Rule::Number,
                "Hours the part already had behind it when your notes begin.",
            ),
        ],
        examples: &[
            &[example::MACHINE, "chain", "CHN-1", "2", "", "", "", "", ""],
            &[
                example::MACHINE,
                "left fins",
                "FIN-1",
                "4",
                "",
                "",
                "",
                "",
                "",
            ],
            &[
                example::MACHINE,
                "right fins",
                "FIN-1",
                "4",
                "",
                "",
                "",
                "",
                "",
            ],
        ],
    },
    Sheet {
        name: "products",
        about: "what you spread, and which products wear alike",
        columns: &[
            must(
                "product",
                Rule::Words,
                "A product as you write it in your notes.",
            ),
            may(
                "group",
                Rule::Words,
                "Products with the same word here count as one, such as `dry fertilizer`. Empty: the product alone.",
            ),
        ],
        examples: &[
            &["potash", "dry fertilizer"],
            &["urea", "dry fertilizer"],
            &["ag lime", "lime"],
        ],
    },
    Sheet {
        name: "usage",
        about: "what was spread: a row a day, or a load; any number of rows a day add up",
        columns: &[
            must("date", Rule::Day, "The day, such as 2026-04-17."),
            MACHINE,
            PRODUCT,
            ACRES,
            TONS,
            HOURS,
            BIN,
        ],
        examples: &[
            &[
                "2025-04-07",
                example::MACHINE,
                "potash",
                "2600",
                "280",
                "49",
                "",
            ],
            &[
                "2025-10-13",
                example::MACHINE,
                "ag lime",
                "700",
                "1400",
                "25",
                "",
            ],
            &[
                "2026-04-11",
                example::MACHINE,
                "urea",
                "2500",
                "270",
                "47",
                "",
            ],
        ],
    },
    Sheet {
        name: "replacements",
        about: "every part that was changed: when, where and why",
        columns: &[
            must("date", Rule::Day, "The day it was changed."),
            MACHINE,
            POSITION,
            must(
                "reason",
                Rule::Choice(&["worn", "broken", "planned", "damage", "upgrade"]),
                "Why it came off. worn and broken: by wear. planned: it was still good. damage: struck, bent or burnt. upgrade: for a better one.",
            ),
            may(
                "last_good",
                Rule::Day,
                "The last day somebody looked and found it good. Worth writing down: a part found worn in the shop wore out some time since.",
            ),
            may(
                "part",
                Rule::Listed("parts", "part"),
                "The number of the new part. Empty: the same as the old one.",
            ),
            may(
                "quantity",
                Rule::Positive,
                "How many were changed. Empty: all of them.",
            ),
            SLOT,
            may(
                "down_hours",
                Rule::Number,
                "Hours the machine stood still in the field.",
            ),
            may("labor_hours", Rule::Number, "Hours of work it took."),
            may(
                "parts_cost",
                Rule::Number,
                "What the parts cost, all together.",
            ),
            NOTE,
            may(
                "date_from",
                Rule::Day,
                "Where only a stretch is known, such as a season: its first day, and its last one as the date.",
            ),
        ],
        examples: &[&[
            "2025-12-03",
            example::MACHINE,
            "left fins",
            "worn",
            "2025-07-20",
            "",
            "4",
            "",
            "",
            "1.5",
            "248",
            "found in the winter check",
            "",
        ]],
    },
    Sheet {
        name: "inspections",
        about: "measured wear, such as how far a chain has stretched",
        columns: &[
            must("date", Rule::Day, "The day it was measured."),
            MACHINE,
            POSITION,
            must(
                "measure",
                Rule::Words,
                "What was measured: elongation, thickness, play.",
            ),
            must("value", Rule::Signed, "The reading."),
            may("unit", Rule::Words, "Its unit: %, mm, in."),
            SLOT,
            NOTE,
        ],
        examples: &[&[
            "2025-12-03",
            example::MACHINE,
            "chain",
            "elongation",
            "1.4",
            "%",
            "",
            "",
        ]],
    },
    Sheet {
        name: "plan",
        about: "what you expect to spread, month by month; without it the last full season is repeated",
        columns: &[
            must("month", Rule::Month, "The month, such as 2027-04."),
            MACHINE,
            must(
                "product",
                Rule::Listed("products", "product"),
                "What will be spread: a name from the sheet `products`.",
            ),
            ACRES,
            TONS,
            HOURS,
            BIN,
        ],
        examples: &[
            &[
                "2026-10",
                example::MACHINE,
                "ag lime",
                "700",
                "1400",
                "25",
                "",
            ],
            &[
                "2027-04",
                example::MACHINE,
                "potash",
                "2600",
                "280",
                "49",
                "",
            ],
        ],
    },
    Sheet {
        name: "stock",
        about: "what is on the shelf, and on order",
        columns: &[
            must("part", Rule::Listed("parts", "part"), "The part number."),
            must(
                "on_hand",
                Rule::Number,
                "Pieces on the shelf; 0 if there are none.",
            ),
            may("on_order", Rule::Number, "Pieces ordered and not yet here."),
            may("due", Rule::Day, "When they should come."),
        ],
        examples: &[&["FIN-1", "4", "", ""]],
    },
    Sheet {
        name: "meters",
        about: "what the meters of a machine showed; hours, acres and tons stand in for usage rows where there are none",
        columns: &[
            must("date", Rule::Day, "The day it was read."),
            MACHINE,
            must(
                "meter",
                Rule::Choice(&["hours", "acres", "tons", "engine_hours", "miles"]),
                "Which meter: hours with the spinners on, acres, tons, hours of the engine, or miles.",
            ),
            must("reading", Rule::Number, "What it showed."),
            may(
                "product",
                Rule::Listed("products", "product"),
                "What was spread since the reading before, where it was one product. Lime wears far more than others.",
            ),
            may(
                "unit",
                Rule::Words,
                "Of the reading, where it is another than hours, acres or short tons: hectares, tonnes, kg.",
            ),
            may(
                "note",
                Rule::Words,
                "Say here where the meter itself was changed.",
            ),
        ],
        examples: &[&[
            "2025-12-03",
            example::MACHINE,
            "engine_hours",
            "1210.5",
            "",
            "",
            "",
        ]],
    },
];
