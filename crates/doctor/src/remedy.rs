//! What mends a finding: a sentence, and where there is one the exact command. Runs nothing.

/// One remedy.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Remedy {
    /// What it does, or what a person is to do.
    pub says: String,
    /// The command, where there is one.
    pub step: Option<Step>,
}

/// A command, without a shell.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Step {
    /// Program and arguments.
    pub argv: Vec<String>,
    /// What is fed to its standard input.
    pub input: Option<String>,
    /// It needs the rights of root.
    pub as_root: bool,
    /// Whether the program may run it when asked to.
    pub run: RunPolicy,
}

/// Who runs a command.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RunPolicy {
    /// The program may, when somebody asks for it.
    OnRequest,
    /// A person only: it takes away or replaces something that others may need.
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

    /// The same, fed with this text.
    #[must_use]
    pub fn with_input(mut self, text: &str) -> Self {
        if let Some(step) = &mut self.step {
            step.input = Some(text.to_owned());
        }
        self
    }
}

impl Step {
    /// The command as a person types it, each word quoted where a shell would change it. Without `sudo` and input.
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
