//! What a person names for the proof that is under way: the live source, and each pair before it is read.

use super::*;

impl Check {
    /// A person names a live source.
    pub(crate) fn name_source(&mut self, words: &str, context: &Context<'_>) {
        self.name(words, "source", |proving, job| {
            let source = proving.name_source(words, job, context.now)?;
            Ok(format!("live source: {source}"))
        });
    }

    /// A person names the pair that is read next.
    pub(crate) fn name_pair(&mut self, words: &str, context: &Context<'_>) {
        self.name(words, "on", |proving, _| {
            let pair = proving.name_pair(words, context.now)?;
            Ok(format!("on {pair}"))
        });
    }

    fn name(
        &mut self,
        words: &str,
        act: &str,
        take: impl FnOnce(&mut Proving, &Job) -> Result<String, String>,
    ) {
        let line = [act, words].join(" ");
        let line = line.trim();
        let asked = self.questions.asks_for_proof_leads();
        let taken = match &mut self.proving {
            _ if asked => Err("answer the question about the leads first".to_string()),
            Some(proving) if self.given.is_none() => take(proving, &self.job),
            _ => Err(match self.open.first() {
                Some(first) if self.given.is_none() => format!("show {first:?} first"),
                _ => "no hold point is open that is read on pairs".to_string(),
            }),
        };
        match taken {
            Ok(says) => {
                self.touch();
                self.alarm = None;
                self.tell_proof(says);
            }
            Err(why) => self.refuse(format!("{line:?} was not taken: {why}")),
        }
    }

    /// A step of the proof is done.
    pub(super) fn tell_proof(&mut self, says: String) {
        let hold_point = self.proving.as_ref().map_or_else(String::new, |proving| proving.name().to_string());
        self.say(Output::Proving { hold_point, says });
    }
}
