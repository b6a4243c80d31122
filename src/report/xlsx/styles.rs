//! The look: a ledger in dark green, thin rules, figures that stand under each other.

use rust_xlsxwriter::{Color, Format, FormatAlign, FormatBorder};

use super::text;

/// Header bands, titles and the solid columns of the chart.
pub(super) const GREEN: Color = Color::RGB(0x002F_4A3A);
/// Rules under rows.
pub(super) const RULE: Color = Color::RGB(0x00B9_C4BC);
/// Text that explains.
const GREY: Color = Color::RGB(0x0055_5F58);
/// Bands of totals.
const PALE: Color = Color::RGB(0x00EE_F2EE);

/// Cells to be changed.
const INPUT: Color = Color::RGB(0x00FF_F9E3);

/// Font of everything; its digits are all of one width.
pub(super) const FONT: &str = "Arial";

/// What a cell holds, and so how it is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// Words.
    Text,
    /// Words that say what is unknown or out of the ordinary.
    Remark,
    /// Money without cents: a forecast is not known to the cent.
    Money,
    /// Money with cents: prices, and what adds up from them.
    Cents,
    /// A whole number.
    Whole,
    /// A number with one decimal.
    Tenths,
    /// A number with two decimals.
    Hundredths,
    /// A number with three decimals.
    Thousandths,
    /// Calendar days.
    Days,
    /// A share of a whole.
    Share,
    /// A month.
    Month,
}

/// How a row stands out from the others.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Tone {
    /// One of many.
    Body,
    /// A total: a rule above, a double one below.
    Total,
}

/// Formats of one workbook.
pub(super) struct Styles {
    currency: String,
}

impl Styles {
    /// Styles for that currency sign or code, whatever text it is.
    pub(super) fn new(currency: &str) -> Self {
        Self {
            currency: text::brief(&text::clean(currency), 24),
        }
    }

    /// The currency as words may use it.
    pub(super) fn currency(&self) -> &str {
        &self.currency
    }

    /// What every format begins with.
    pub(super) fn base() -> Format {
        Format::new()
            .set_font_name(FONT)
            .set_font_size(10)
            .set_align(FormatAlign::VerticalCenter)
    }

    pub(super) fn title() -> Format {
        Self::base()
            .set_font_size(16)
            .set_bold()
            .set_font_color(GREEN)
            .set_border_bottom(FormatBorder::Medium)
            .set_border_bottom_color(GREEN)
    }

    pub(super) fn section() -> Format {
        Self::base()
            .set_font_size(11)
            .set_bold()
            .set_font_color(GREEN)
            .set_align(FormatAlign::Bottom)
    }

    pub(super) fn paragraph() -> Format {
        Self::base().set_text_wrap()
    }

    pub(super) fn aside() -> Format {
        Self::paragraph().set_font_color(GREY).set_italic()
    }

    pub(super) fn heading(kind: Kind) -> Format {
        let align = if kind.is_number() {
            FormatAlign::Right
        } else {
            FormatAlign::Left
        };
        Self::base()
            .set_bold()
            .set_font_color(Color::White)
            .set_background_color(GREEN)
            .set_text_wrap()
            .set_align(align)
            .set_indent(kind.indent())
    }

    pub(super) fn cell(&self, kind: Kind, tone: Tone) -> Format {
        let format = match kind {
            Kind::Text => Self::base().set_text_wrap().set_align(FormatAlign::Left),
            Kind::Remark => Self::base()
                .set_text_wrap()
                .set_italic()
                .set_align(FormatAlign::Left)
                .set_indent(kind.indent()),
            Kind::Month => Self::base().set_align(FormatAlign::Left),
            _ => Self::base().set_align(FormatAlign::Right),
        };
        let format = match kind {
            Kind::Text | Kind::Remark => format,
            _ => format.set_num_format(self.number_format(kind)),
        };
        match tone {
            Tone::Body => format
                .set_border_bottom(FormatBorder::Thin)
                .set_border_bottom_color(RULE),
            Tone::Total => format
                .set_bold()
                .set_background_color(PALE)
                .set_border_top(FormatBorder::Thin)
                .set_border_top_color(GREEN)
                .set_border_bottom(FormatBorder::Double)
                .set_border_bottom_color(GREEN),
        }
    }

    /// A cell to be changed: unlocked, with a frame on a light ground, so that it shows on any paper.
    pub(super) fn input(&self, kind: Kind) -> Format {
        Self::base()
            .set_align(FormatAlign::Right)
            .set_num_format(self.number_format(kind))
            .set_background_color(INPUT)
            .set_border(FormatBorder::Thin)
            .set_border_color(GREEN)
            .set_unlocked()
    }

    /// The number format of a kind, the currency quoted so that no text of it is a code.
    pub(super) fn number_format(&self, kind: Kind) -> String {
        match kind {
            Kind::Text | Kind::Remark => "General".to_owned(),
            Kind::Money => self.money("#,##0"),
            Kind::Cents => self.money("#,##0.00"),
            Kind::Whole => "#,##0".to_owned(),
            Kind::Tenths => "#,##0.0".to_owned(),
            Kind::Hundredths => "#,##0.00".to_owned(),
            Kind::Thousandths => "#,##0.000".to_owned(),
            Kind::Days => "#,##0\" days\"".to_owned(),
            Kind::Share => "0.0%".to_owned(),
            Kind::Month => "mmm yyyy".to_owned(),
        }
    }

    /// About what a number looks like, to know how wide it is.
    pub(super) fn shown(&self, kind: Kind, number: f64) -> String {
        let (decimals, around) = match kind {
            Kind::Text | Kind::Remark | Kind::Whole => (0, String::new()),
            Kind::Money => (0, self.sign()),
            Kind::Cents => (2, self.sign()),
            Kind::Tenths => (1, String::new()),
            Kind::Hundredths => (2, String::new()),
            Kind::Thousandths => (3, String::new()),
            Kind::Days => (0, " days".to_owned()),
            Kind::Share => return format!("{:.1}%", number * 100.0),
            Kind::Month => return "Mmm 0000".to_owned(),
        };
        let digits = format!("{number:.decimals$}");
        let groups = digits.len().saturating_sub(decimals + 2) / 3;
        format!("{around}{digits}{}", ",".repeat(groups))
    }

    fn money(&self, digits: &str) -> String {
        let sign = quoted(&self.sign());
        format!("{sign}{digits};-{sign}{digits}")
    }

    /// A sign stands close to the figure, a code apart.
    fn sign(&self) -> String {
        match self.currency.chars().last() {
            Some(c) if c.is_alphanumeric() || c == '.' => format!("{} ", self.currency),
            _ => self.currency.clone(),
        }
    }
}

impl Kind {
    /// Whether it stands to the right of its column.
    pub(super) fn is_number(self) -> bool {
        !matches!(self, Self::Text | Self::Remark | Self::Month)
    }

    /// Steps that it stands off the column before it, which ends in figures.
    pub(super) fn indent(self) -> u8 {
        u8::from(self == Self::Remark)
    }

    /// [`Self::Whole`] where every number is whole, else [`Self::Tenths`].
    pub(super) fn whole_if(mut numbers: impl Iterator<Item = f64>) -> Self {
        if numbers.all(|n| n.fract().abs() < 1e-9) {
            Self::Whole
        } else {
            Self::Tenths
        }
    }
}

/// Text as a number format shows it letter by letter.
fn quoted(text: &str) -> String {
    text.split('"')
        .map(|run| {
            if run.is_empty() {
                String::new()
            } else {
                format!("\"{run}\"")
            }
        })
        .collect::<Vec<_>>()
        .join("\\\"")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_currency_of_any_text_is_quoted() {
        let money = |currency| Styles::new(currency).number_format(Kind::Money);
        assert_eq!(money("$"), "\"$\"#,##0;-\"$\"#,##0");
        assert_eq!(money("EUR"), "\"EUR \"#,##0;-\"EUR \"#,##0");
        assert_eq!(money(""), "#,##0;-#,##0");
        assert_eq!(
            money("a\"b;0"),
            "\"a\"\\\"\"b;0 \"#,##0;-\"a\"\\\"\"b;0 \"#,##0"
        );
    }

    #[test]
    fn pieces_that_are_whole_are_shown_whole() {
        assert_eq!(Kind::whole_if([3.0, 0.0].into_iter()), Kind::Whole);
        assert_eq!(Kind::whole_if([3.0, 7.5].into_iter()), Kind::Tenths);
    }
}
