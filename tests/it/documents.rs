//! Examples in the documents: a fenced block that begins with `$ cliplead` and needs no meter prints what stands below it.
//! `UPDATE_EXPECT=1` writes what they print into the documents. Does not run examples with devices, or of rules that are wrong.

use checks::{Invocation, root};

/// The documents, and how many of their examples are run.
const DOCUMENTS: [(&str, usize); 3] =
    [("README.md", 1), ("rules/README.md", 2), ("crates/cliplead/README.md", 1)];

/// Whether an example gives the same on every machine: neither devices nor the broken rule of an example.
fn is_run(command: &str) -> bool {
    ["judge ", "calc ", "replay "].iter().any(|start| command.starts_with(start))
}

/// Each command of a document with the lines below it.
fn examples(text: &str) -> Vec<(String, String)> {
    let mut found: Vec<(String, String)> = Vec::new();
    // `open`: a command of this fenced block stands above.
    let (mut open, mut continues) = (false, false);
    for line in text.lines() {
        if line.starts_with("```") {
            (open, continues) = (false, false);
        } else if let Some(command) = line.strip_prefix("$ cliplead ") {
            open = true;
            continues = command.ends_with('\\');
            found.push((command.trim_end_matches('\\').to_owned(), String::new()));
        } else if open && let Some((command, out)) = found.last_mut() {
            if continues {
                continues = line.ends_with('\\');
                command.push_str(line.trim_end_matches('\\'));
            } else {
                out.push_str(line);
                out.push('\n');
            }
        }
    }
    found
}

/// The words of a command, with the quotes of a shell.
fn words(command: &str) -> Vec<String> {
    let mut words = vec![String::new()];
    let mut quoted = false;
    for c in command.chars() {
        match c {
            '\'' => quoted = !quoted,
            ' ' if !quoted => words.push(String::new()),
            _ => words.last_mut().unwrap().push(c),
        }
    }
    words.retain(|word| !word.is_empty());
    words
}

#[test]
fn examples_print_what_the_documents_say() {
    let update = std::env::var_os("UPDATE_EXPECT").is_some();
    for (document, count) in DOCUMENTS {
        let mut text = std::fs::read_to_string(root().join(document)).unwrap();
        let run: Vec<_> = examples(&text).into_iter().filter(|(command, _)| is_run(command)).collect();
        assert_eq!(run.len(), count, "{document}: {run:?}");
        for (command, out) in run {
            let ended = Invocation::new(words(&command)).run();
            if update && ended.out != out {
                text = text.replacen(&out, &ended.out, 1);
                std::fs::write(root().join(document), &text).unwrap();
                continue;
            }
            assert_eq!(ended.out, out, "{document}: {command}\n{}", ended.err);
        }
    }
}
