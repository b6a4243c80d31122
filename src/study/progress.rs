//! How far a question has come, told to whoever waits for the answer; nothing is printed here.

use std::fmt;
use std::sync::Arc;

/// A step that takes its time.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Stage {
    /// The lives of one family are fitted.
    Fitting {
        /// Which family, counted from 1.
        number: usize,
        /// How many there are.
        of: usize,
        /// Its name.
        family: String,
    },
    /// Run or replace is weighed for every part in service.
    Advising,
    /// The season is played.
    Playing,
    /// A past season is forecast and scored.
    PastSeason {
        /// The season.
        year: i32,
        /// Which season, counted from 1.
        number: usize,
        /// How many there are.
        of: usize,
    },
}

impl fmt::Display for Stage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Fitting { number, of, family } => {
                write!(f, "fitting lives, {number} of {of} families: {family}")
            }
            Self::Advising => f.write_str("weighing run or replace"),
            Self::Playing => f.write_str("playing the season"),
            Self::PastSeason { year, number, of } => {
                write!(f, "past seasons, {number} of {of}: {year}")
            }
        }
    }
}

/// What is done with a stage.
type Listener = Arc<dyn Fn(Stage) + Send + Sync>;

/// Who is told of each stage; nobody unless somebody asks.
#[derive(Clone, Default)]
pub struct Progress(Option<Listener>);

impl Progress {
    /// Tells `listener` of each stage as it begins.
    pub fn to(listener: impl Fn(Stage) + Send + Sync + 'static) -> Self {
        Self(Some(Arc::new(listener)))
    }

    /// A stage begins; it is not even put into words where nobody listens.
    pub(super) fn tell(&self, stage: impl FnOnce() -> Stage) {
        if let Some(listener) = &self.0 {
            listener(stage());
        }
    }
}

impl fmt::Debug for Progress {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(if self.0.is_some() {
            "Progress(told)"
        } else {
            "Progress(silent)"
        })
    }
}
