//! Whose products a replacement is for.

/// Shares of a replacement's money by product group, in the order of [`crate::wear::Groups::names`].
#[derive(Clone, Copy, Debug)]
pub enum Shares<'a> {
    /// By group.
    Given(&'a [f64]),
    /// By the season's effective exposure.
    Wear {
        /// Use of the season, for each of the family's groups.
        used: &'a [f64],
        /// Their wear factors.
        factors: &'a [f64],
        /// Their places among all groups.
        places: &'a [Option<usize>],
        /// By group, for parts that age by the calendar or wear while nothing is spread.
        otherwise: &'a [f64],
    },
}

impl Shares<'_> {
    /// Tells each group's place and share of those that have any.
    pub fn each(self, mut tell: impl FnMut(usize, f64)) {
        let given = match self {
            Self::Given(shares) => shares,
            Self::Wear {
                used,
                factors,
                places,
                otherwise,
            } => {
                let worn = || {
                    let all = places.iter().zip(used).zip(factors);
                    all.filter_map(|((place, used), factor)| Some(((*place)?, used * factor)))
                };
                let sum: f64 = worn().map(|(_, worn)| worn).sum();
                if 0.0 < sum {
                    return worn().for_each(|(g, worn)| tell(g, worn / sum));
                }
                otherwise
            }
        };
        for (g, share) in given.iter().enumerate() {
            tell(g, *share);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Shares;

    /// By hand: 30 tons at wear 1 and 10 at wear 3 wear alike; the third group is not the family's.
    #[test]
    fn wear_is_shared_by_use_times_wear_factor() {
        let shares = |used: &[f64]| {
            let mut sums = [0.0; 3];
            let wear = Shares::Wear {
                used,
                factors: &[1.0, 3.0],
                places: &[Some(2), Some(0)],
                otherwise: &[0.2, 0.3, 0.5],
            };
            wear.each(|g, share| sums[g] += share);
            sums.map(f64::to_bits)
        };
        assert_eq!(shares(&[30.0, 10.0]), [0.5, 0.0, 0.5_f64].map(f64::to_bits));
        assert_eq!(shares(&[0.0, 0.0]), [0.2, 0.3, 0.5_f64].map(f64::to_bits));
    }
}
