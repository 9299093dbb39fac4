//! Plays the mechanic: arms, confirms, connects the clips, answers, and waits for the daemon's notices. Knows the
//! daemon only by its inputs and notices.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

use anyhow::{Context as _, bail};
use judge::limits::Word;
use tokio::sync::{broadcast, mpsc, oneshot};
use visit::act::{Act, By};
use visit::round::Output;

use super::meter::{Meter, Shows};
use super::scenes::{self, Scene, SceneStep};
use crate::daemon::{Ask, Input, Notice};
use crate::output::talk;

/// No step of the round takes longer; only bounds a hang.
const PATIENCE: Duration = Duration::from_secs(30);

/// The mechanic.
pub(super) struct Director {
    inputs: mpsc::Sender<Input>,
    notices: broadcast::Receiver<Arc<Notice>>,
    meter: Meter,
    /// The number of the last question.
    asked: u32,
}

/// A scene and how it ended.
pub(super) struct Played {
    pub(super) name: &'static str,
    pub(super) expected: Word,
    pub(super) got: Option<Word>,
}

impl Director {
    pub(super) fn new(
        inputs: mpsc::Sender<Input>,
        notices: broadcast::Receiver<Arc<Notice>>,
        meter: Meter,
    ) -> Self {
        Self { inputs, notices, meter, asked: 0 }
    }

    /// Plays all scenes in order.
    pub(super) async fn play_all(&mut self, scenes: &[Scene]) -> anyhow::Result<Vec<Played>> {
        let mut played = Vec::new();
        for scene in scenes {
            talk(&format!("\n{}", scene.name));
            let got = self.play(scene).await.with_context(|| format!("scene {:?}", scene.name))?;
            played.push(Played { name: scene.name, expected: scene.expected, got });
        }
        Ok(played)
    }

    async fn play(&mut self, scene: &Scene) -> anyhow::Result<Option<Word>> {
        let plate: BTreeMap<String, String> =
            scene.plate.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect();
        let mut plan = site::plan(scene.unit, scene.component, scene.rule, &plate, &BTreeMap::new())
            .map_err(anyhow::Error::msg)?;
        plan.supply = scenes::supply(scene.unit);
        self.inputs.send(Input::Arm(Box::new(plan))).await.context("the daemon is gone")?;
        let mut got = None;
        for step in &scene.steps {
            if let Some(word) = self.step(step).await? {
                got = Some(word);
            }
        }
        if scene.steps.iter().any(|step| matches!(step, SceneStep::Act("confirm one lead off"))) {
            // What came off goes back on before the next part.
            self.act(Act::Restored { what: "one lead off".to_owned() }).await?;
        }
        Ok(got)
    }

    async fn step(&mut self, step: &SceneStep) -> anyhow::Result<Option<Word>> {
        match step {
            SceneStep::Act(line) => self.act(Act::of_line(line)?).await?,
            SceneStep::Answer(yes) => self.act(Act::Answer { question: Some(self.asked), yes: *yes }).await?,
            SceneStep::Shows(shows) => self.clip(*shows)?,
            SceneStep::Holds(ms) => tokio::time::sleep(Duration::from_millis(*ms)).await,
            SceneStep::UntilShown(name) => {
                self.until(|notice| matches!(notice, Notice::Round(Output::HoldPoint { name: shown, .. }) if shown == name))
                    .await?;
            }
            SceneStep::UntilSettled => {
                self.until(|notice| matches!(notice, Notice::Round(Output::Settled(_)))).await?;
            }
            SceneStep::UntilRead => {
                let reads = |n: &Notice| matches!(n, Notice::Round(Output::Proving { says, .. }) if says.contains(" reads "));
                self.until(reads).await?;
            }
            SceneStep::UntilAsked => {
                let notice = self.until(|n| matches!(n, Notice::Round(Output::Asked { .. }))).await?;
                if let Notice::Round(Output::Asked { number, .. }) = &*notice {
                    self.asked = *number;
                }
            }
            SceneStep::UntilVerdict => {
                let notice = self.until(|notice| matches!(notice, Notice::Verdict(_))).await?;
                if let Notice::Verdict(kept) = &*notice {
                    return Ok(Some(kept.verdict.word));
                }
            }
        }
        Ok(None)
    }

    fn clip(&self, shows: Shows) -> anyhow::Result<()> {
        self.meter.show(shows)
    }

    async fn act(&self, act: Act) -> anyhow::Result<()> {
        let (reply, answer) = oneshot::channel();
        let ask = Ask { act, by: By::Unsaid, check: None, reply: Some(reply) };
        self.inputs.send(Input::Ask(ask)).await.context("the daemon is gone")?;
        answer.await.context("the daemon gave no answer")?.map_err(anyhow::Error::msg)
    }

    async fn until(&mut self, wanted: impl Fn(&Notice) -> bool) -> anyhow::Result<Arc<Notice>> {
        let waiting = async {
            loop {
                match self.notices.recv().await {
                    Ok(notice) if wanted(&notice) => return Ok(notice),
                    Ok(_) => {}
                    Err(broadcast::error::RecvError::Lagged(_)) => {}
                    Err(broadcast::error::RecvError::Closed) => bail!("the daemon ended"),
                }
            }
        };
        tokio::time::timeout(PATIENCE, waiting).await.context("waited 30 s in vain")?
    }
}
