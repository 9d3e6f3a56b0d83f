//! Where commands come from: a terminal with history and completion, or a pipe, line by line, without prompt.

use super::command::completions;
use rustyline::completion::Completer;
use rustyline::error::ReadlineError;
use rustyline::highlight::Highlighter;
use rustyline::hint::Hinter;
use rustyline::history::MemHistory;
use rustyline::validate::Validator;
use rustyline::{CompletionType, Config, Context, Editor, Helper};
use std::io::{BufRead as _, IsTerminal as _, StdinLock};

/// Where commands come from.
pub(super) enum Input {
    Terminal(Box<Editor<Known, MemHistory>>),
    Pipe(StdinLock<'static>),
}

/// The next line.
pub(super) enum Line {
    Typed(String),
    /// The end of the input, or an interruption: both leave.
    Over,
    /// Nothing can be read any more.
    Broken(String),
}

impl Input {
    /// Standard input, as it is.
    pub(super) fn open() -> Result<Self, String> {
        let stdin = std::io::stdin();
        if !stdin.is_terminal() {
            return Ok(Self::Pipe(stdin.lock()));
        }
        let config = Config::builder().completion_type(CompletionType::List).auto_add_history(true).build();
        let history = MemHistory::with_config(&config);
        let mut editor = Editor::with_history(config, history).map_err(|error| error.to_string())?;
        editor.set_helper(Some(Known));
        Ok(Self::Terminal(Box::new(editor)))
    }

    /// Whether nobody sees what is typed but the program.
    pub(super) const fn is_pipe(&self) -> bool {
        matches!(self, Self::Pipe(_))
    }

    pub(super) fn next(&mut self) -> Line {
        match self {
            Self::Terminal(editor) => match editor.readline("step> ") {
                Ok(line) => Line::Typed(line),
                Err(ReadlineError::Eof | ReadlineError::Interrupted) => Line::Over,
                Err(error) => Line::Broken(error.to_string()),
            },
            Self::Pipe(pipe) => {
                let mut line = String::new();
                match pipe.read_line(&mut line) {
                    Ok(0) => Line::Over,
                    Ok(_) => Line::Typed(line),
                    Err(error) => Line::Broken(error.to_string()),
                }
            }
        }
    }
}

/// Completes what is known.
pub(super) struct Known;

impl Completer for Known {
    type Candidate = String;

    fn complete(&self, line: &str, at: usize, _: &Context<'_>) -> rustyline::Result<(usize, Vec<String>)> {
        Ok(completions(line.get(..at).unwrap_or_default()))
    }
}

impl Hinter for Known {
    type Hint = String;
}

impl Highlighter for Known {}
impl Validator for Known {}
impl Helper for Known {}
