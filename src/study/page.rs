//! The page: budget, parts in service, life models and past forecasts from one look at the records.

use super::progress::Stage;
use super::{Policy, Study, StudyError, fits};
use crate::forecast::simulate;
use crate::report::page::PageReport;

impl Study {
    /// Everything that the page shows. Lives are fitted, advice is weighed and the season is played
    /// once for all of it, so that its figures agree with each other. Of the single commands `fit` alone may
    /// differ: it leaves out parts of unknown age, which forecasts count.
    ///
    /// Past seasons are all scored, whichever season is asked for; where none can be, the page
    /// says why.
    ///
    /// # Errors
    /// As [`Study::outlook`].
    pub fn page(&self) -> Result<PageReport, StudyError> {
        let mut outlook = self.outlook()?;
        let advice = self.advise(&outlook);
        let remaining = self.remaining_of(&outlook, &advice);
        let wanted: Vec<_> = outlook
            .assessments
            .iter()
            .filter(|a| self.wants_family(&a.family.name))
            .cloned()
            .collect();
        let notes = wanted.iter().flat_map(|a| a.notes.clone()).collect();
        let mut fits = fits::report(
            &wanted,
            self.options.priors,
            self.records.settings.units,
            self.header(notes),
        );
        fits.with_found = wanted.iter().any(|a| !a.lives.found.is_empty());
        if self.options.policy == Policy::Advised {
            Self::change_as_advised(&mut outlook, &advice, self.as_of);
        }
        self.progress.tell(|| Stage::Playing);
        let outcome = simulate::play(self.game(&outlook));
        let past = match self.backtest_of(None) {
            Ok(report) => Ok(report),
            Err(StudyError::TooThin(why)) => Err(why),
            Err(error) => return Err(error),
        };
        Ok(PageReport {
            budget: self.summed(&outlook, &outcome),
            remaining,
            fits,
            past,
        })
    }
}
