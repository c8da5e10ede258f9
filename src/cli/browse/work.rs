//! Reading and computing, aside from the keys.

use std::sync::mpsc::{self, Receiver, TryRecvError};
use std::thread;

use super::super::site::{Broken, SiteArguments};
use super::data::Data;

/// One reading of the site, on a thread of its own. If it is dropped, the thread runs
/// to its end and its result is discarded.
pub(super) struct Work {
    result: Receiver<Result<Data, Broken>>,
}

/// How far it is.
pub(super) enum Progress {
    /// Not done.
    Busy,
    /// Done.
    Done(Box<Result<Data, Broken>>),
    /// It stopped half-way: a fault of this program.
    Lost,
}

impl Work {
    /// Begins.
    pub(super) fn start(arguments: &SiteArguments) -> Self {
        let (hand_over, result) = mpsc::channel();
        let arguments = arguments.clone();
        thread::spawn(move || {
            // It fails where the result is not wanted any more.
            let _ = hand_over.send(Data::load(&arguments));
        });
        Self { result }
    }

    /// Looks whether it is done.
    pub(super) fn progress(&self) -> Progress {
        match self.result.try_recv() {
            Ok(result) => Progress::Done(Box::new(result)),
            Err(TryRecvError::Empty) => Progress::Busy,
            Err(TryRecvError::Disconnected) => Progress::Lost,
        }
    }
}
