//! While an answer takes its time: one line on the terminal that says how far it is.
#![expect(
    clippy::disallowed_methods,
    reason = "whether half a second has passed decides nothing but this line"
)]

use std::io::Write;
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::thread;
use std::time::{Duration, Instant};

use crate::study::progress::{Progress, Stage};
use crate::study::{Study, StudyError};

/// Answers that come sooner show no line.
const PATIENCE: Duration = Duration::from_millis(500);
/// Longest line; a terminal of 80 columns keeps it on one.
const WIDTH: usize = 78;

/// A terminal to write to while somebody waits; `None` in pipes, files and tests.
pub type Screen = Option<Box<dyn Write + Send>>;

/// Puts a question to a study, and keeps `screen` told of how far it is.
pub(super) fn ask<T>(
    screen: Screen,
    study: &mut Study,
    question: impl FnOnce(&Study) -> Result<T, StudyError>,
) -> Result<T, StudyError> {
    let Some(screen) = screen else {
        return question(study);
    };
    let (tell, told) = channel();
    let line = thread::spawn(move || keep_told(screen, &told));
    study.progress = Progress::to(move |stage| {
        // Nobody reads any more: the answer is what counts.
        let _ = tell.send(stage);
    });
    let answer = question(study);
    // The last sender goes with it, and so does the line.
    study.progress = Progress::default();
    let _ = line.join();
    answer
}

/// Shows the latest stage once patience is over, and wipes the line at the end. A terminal that
/// cannot be written to any more is no reason to stop.
fn keep_told(mut screen: Box<dyn Write + Send>, told: &Receiver<Stage>) {
    let begin = Instant::now();
    let (mut latest, mut shown) = (None, 0);
    loop {
        let patience = PATIENCE.saturating_sub(begin.elapsed());
        let next = if patience.is_zero() {
            told.recv().map_err(|_| RecvTimeoutError::Disconnected)
        } else {
            told.recv_timeout(patience)
        };
        match next {
            Ok(stage) => latest = Some(stage),
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => break,
        }
        if let Some(stage) = latest.as_ref().filter(|_| PATIENCE <= begin.elapsed()) {
            shown = show(&mut *screen, &stage.to_string(), shown);
        }
    }
    if 0 < shown {
        let _ = write!(screen, "\r{:shown$}\r", "");
        let _ = screen.flush();
    }
}

/// Writes over the line that is there; how long the new one is.
fn show(screen: &mut dyn Write, text: &str, shown: usize) -> usize {
    let text: String = text.chars().take(WIDTH).collect();
    let _ = write!(screen, "\r{text:shown$}");
    let _ = screen.flush();
    text.chars().count().max(shown)
}
