//! A span in which nobody watched: the machine slept, or the program was held up. What was shown before may no longer
//! hold, so every hold point is open again and no reading from before counts. Does not measure the span; the caller does.

use super::Round;
use super::check::Phase;
use super::event::{LapseReason, Output, ResetReason};

impl Round {
    /// Nobody watched until now.
    pub(super) fn unwatched(&mut self) {
        if let Some(live) = &mut self.live {
            live.lost = true;
        }
        self.forget_unstored();
        let mut pending = false;
        if let Some(check) = &mut self.check {
            check.verdict_live = false;
            check.drop_proof_question();
            if let Some(proving) = &mut check.proving {
                proving.forget(None);
            }
            if check.phase != Phase::Done {
                pending = check.is_pending();
                check.forget_readings();
                check.question = None;
                if check.phase == Phase::Asking {
                    check.phase = Phase::Measuring;
                }
            }
        }
        if pending {
            self.say(Output::Reset { why: ResetReason::Unwatched });
        }
        let gone = self.gate.forget_all();
        self.fell(&gone, LapseReason::Unwatched);
    }
}
