//! What fixes a finding: a sentence and, if there is one, the exact command. Runs nothing.

/// One remedy.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Remedy {
    /// What it does, or what a person should do.
    pub says: String,
    /// The command, if there is one.
    pub step: Option<Step>,
}

/// A command, without a shell.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Step {
    /// Program and arguments.
    pub argv: Vec<String>,
    /// Text for its standard input.
    pub input: Option<String>,
    /// It needs root.
    pub as_root: bool,
    /// Who may run it.
    pub run: RunPolicy,
}

/// Who may run a command.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RunPolicy {
    /// The program may, on request.
    OnRequest,
    /// Only a person: it removes or replaces something that others may need.
    ByHand,
}

impl Remedy {
    /// Something a person does.
    #[must_use]
    pub fn advice(says: impl Into<String>) -> Self {
        Self { says: says.into(), step: None }
    }

    /// A command for root.
    #[must_use]
    pub fn root(run: RunPolicy, says: impl Into<String>, argv: &[&str]) -> Self {
        let argv = argv.iter().map(|&part| part.to_owned()).collect();
        Self { says: says.into(), step: Some(Step { argv, input: None, as_root: true, run }) }
    }

    /// The same, with this text as input.
    #[must_use]
    pub fn with_input(mut self, text: &str) -> Self {
        if let Some(step) = &mut self.step {
            step.input = Some(text.to_owned());
        }
        self
    }
}

impl Step {
    /// The command as a person types it, with words quoted as a shell needs. Without `sudo` and input.
    #[must_use]
    pub fn shell_text(&self) -> String {
        let plain = |word: &str| {
            !word.is_empty() && word.bytes().all(|b| b.is_ascii_alphanumeric() || b"-_./=:,+@%".contains(&b))
        };
        let quote = |word: &String| {
            if plain(word) { word.clone() } else { format!("'{}'", word.replace('\'', "'\\''")) }
        };
        self.argv.iter().map(quote).collect::<Vec<_>>().join(" ")
    }
}
