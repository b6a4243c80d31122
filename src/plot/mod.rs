//! Figures as data, and their drawing as SVG text. Nothing is read, written or computed here.
//!
//! Every [`Picture`] stands alone: it has a title and a description for those who hear it instead of
//! seeing it, its own fonts and ids, and no link to anything outside. What tells things apart is shape,
//! line and words; the greens are all different in grey too.
//!
//! # Why no plotting crate
//! The crates that are kept were tried. plotters maps every value to a whole pixel (`Ranged::map`
//! answers an `i32`), so that bands and slopes come out jagged, and its pictures have no title or
//! description for screen readers. kuva offers no free choice of ticks, and a probability axis is all
//! about its ticks: 1, 2, 5, 10, 20, 50 % at their unequal places. What remains, lines and text at
//! exact places, is one `write!` each, in `canvas.rs`.

mod axis;
mod calibration;
mod canvas;
mod columns;
mod key;
mod probability;
mod rows;
mod text;

pub use axis::{Scale, percent};
pub use calibration::{CalibrationFigure, CalibrationPoint};
pub use canvas::{Fill, Mark, Stroke};
pub use columns::{Column, ColumnsFigure};
pub use key::{Key, Sample};
pub use probability::{ProbabilityFigure, SharePoint};
pub use rows::{Group, Reference, Row, RowsFigure};

/// Width of every picture in its own units; text is 15 of them high.
pub const WIDTH: f64 = 480.0;

/// What a picture is called: by people, by those who cannot see it, and by files.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Caption {
    /// Name of its file without the ending, and stem of its ids; see [`file_name`].
    pub name: String,
    /// What it shows, in a few words.
    pub title: String,
    /// What there is to see, in sentences.
    pub about: String,
}

/// A finished picture.
#[derive(Clone, Debug, PartialEq)]
pub struct Picture {
    /// What it is called.
    pub caption: Caption,
    height: f64,
    body: String,
}

impl Picture {
    /// Whether it is higher than wide, so that paper must hold it in.
    #[must_use]
    pub fn is_tall(&self) -> bool {
        1.2 * WIDTH < self.height
    }

    /// The whole picture as SVG text, the same inside a page and in a file of its own.
    #[must_use]
    pub fn svg(&self) -> String {
        let Caption { name, title, about } = &self.caption;
        let (title, about) = (text::escaped(title), text::escaped(about));
        let (width, height) = (canvas::number(WIDTH), canvas::number(self.height));
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" width=\"{width}\" \
             height=\"{height}\" role=\"img\" aria-labelledby=\"{name}-title {name}-about\" \
             font-family=\"{FONT}\" font-size=\"15\" fill=\"{INK}\">\n\
             <title id=\"{name}-title\">{title}</title>\n<desc id=\"{name}-about\">{about}</desc>\n{}</svg>\n",
            self.body
        )
    }
}

/// Fonts whose digits are all of one width, on every common system.
const FONT: &str = "Arial, 'Liberation Sans', Helvetica, sans-serif";
/// Words and figures.
const INK: &str = "#1f2b24";
/// What is measured: bars, dots, lines.
const GREEN: &str = "#2f4a3a";
/// Words beside the axes.
const GREY: &str = "#55605a";
/// Thin rules.
const RULE: &str = "#b9c4bc";
/// Bands under lines.
const PALE: &str = "#dfe7e1";

/// A name fit for a file and an id: small letters, figures and single hyphens, at most 60 of them.
///
/// Different texts may come to the same name; who has several makes them differ.
#[must_use]
pub fn file_name(text: &str) -> String {
    let mut name = String::new();
    for c in text.chars().flat_map(char::to_lowercase) {
        if c.is_ascii_alphanumeric() {
            name.push(c);
        } else if !name.ends_with('-') && !name.is_empty() {
            name.push('-');
        }
        if 60 <= name.len() {
            break;
        }
    }
    let name = name.trim_end_matches('-');
    if name.is_empty() { "unnamed" } else { name }.to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_name_holds_nothing_that_a_folder_or_an_id_minds() {
        assert_eq!(file_name("spinner-fin"), "spinner-fin");
        assert_eq!(file_name("../<Left> fins & \"discs\""), "left-fins-discs");
        assert_eq!(file_name("§§"), "unnamed");
        assert!(file_name(&"long ".repeat(40)).len() <= 60);
    }

    #[test]
    fn words_from_records_cannot_leave_their_place_in_a_picture() {
        let picture = Picture {
            caption: Caption {
                name: "x".to_owned(),
                title: "</title><script>".to_owned(),
                about: "a & b".to_owned(),
            },
            height: 10.0,
            body: String::new(),
        };
        let svg = picture.svg();
        assert!(svg.contains("&lt;/title&gt;&lt;script&gt;") && svg.contains("a &amp; b"));
        assert!(!svg.contains("<script>"));
    }
}
