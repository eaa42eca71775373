//! What can stop a render.

use units::{Problem, Severity};

/// Why a render stopped, and whose fault it is: the exit code depends on that.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Fault {
    /// A file or setting cannot be used.
    #[error("{}", .0.message)]
    Input(Problem),
    /// The machine failed: disk, memory.
    #[error("{}", .0.message)]
    Machine(Problem),
}

impl Fault {
    /// A fault of the machine.
    #[must_use]
    pub fn machine(code: &'static str, at: &str, message: String, remedy: &str) -> Self {
        Self::Machine(Problem::new(Severity::Fail, code, at, message, remedy.to_owned()))
    }

    /// What is wrong.
    #[must_use]
    pub fn problem(&self) -> &Problem {
        match self {
            Self::Input(problem) | Self::Machine(problem) => problem,
        }
    }
}
