//! Words that a column of the records chooses from.

/// What a part's failure does to the machine.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Critical {
    /// The machine stops.
    Stops,
    /// It works on, worse.
    Degrades,
    /// Looks only.
    Cosmetic,
}

impl Critical {
    /// The word in the records.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Stops => "stops",
            Self::Degrades => "degrades",
            Self::Cosmetic => "cosmetic",
        }
    }
}

/// Why a part was taken out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Reason {
    /// Worn to its limit.
    Worn,
    /// Broke from wear.
    Broken,
    /// Changed while still serviceable.
    Planned,
    /// Outside cause: struck, bent, fire.
    Damage,
    /// Changed for a better one.
    Upgrade,
}

impl Reason {
    /// Every reason.
    pub const ALL: [Self; 5] = [
        Self::Worn,
        Self::Broken,
        Self::Planned,
        Self::Damage,
        Self::Upgrade,
    ];

    /// The word in the records.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Worn => "worn",
            Self::Broken => "broken",
            Self::Planned => "planned",
            Self::Damage => "damage",
            Self::Upgrade => "upgrade",
        }
    }

    /// Whether the life ended by wear.
    #[must_use]
    pub fn is_wear(self) -> bool {
        matches!(self, Self::Worn | Self::Broken)
    }
}

/// What a meter counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum MeterKind {
    /// Hours with the spinners on.
    Hours,
    /// Acres.
    Acres,
    /// Short tons.
    Tons,
    /// Hours of the engine.
    EngineHours,
    /// Miles.
    Miles,
}

impl MeterKind {
    /// Every kind.
    pub const ALL: [Self; 5] = [
        Self::Hours,
        Self::Acres,
        Self::Tons,
        Self::EngineHours,
        Self::Miles,
    ];

    /// The word in the records.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Hours => "hours",
            Self::Acres => "acres",
            Self::Tons => "tons",
            Self::EngineHours => "engine_hours",
            Self::Miles => "miles",
        }
    }
}
