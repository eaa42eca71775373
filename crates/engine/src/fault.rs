//! What can stop a render.

use units::{Problem, Severity};

/// Why a render stopped, and whose fault it is: the exit code depends on that.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Fault {
    /// A file or setting cannot be used.
    #[error("{}", .0.message)]
    Input(Box<Problem>),
    /// The machine failed: disk, memory.
    #[error("{}", .0.message)]
    Machine(Box<Problem>),
}

impl Fault {
    /// A file or setting that cannot be used.
    #[must_use]
    pub fn input(code: &'static str, at: &str, message: String, remedy: String) -> Self {
        Self::Input(Box::new(Problem::new(Severity::Fail, code, at, message, remedy)))
    }

    /// A fault of the machine.
    #[must_use]
    pub fn machine(code: &'static str, at: &str, message: String, remedy: String) -> Self {
        Self::Machine(Box::new(Problem::new(Severity::Fail, code, at, message, remedy)))
    }

    /// What is wrong.
    #[must_use]
    pub fn problem(&self) -> &Problem {
        match self {
            Self::Input(problem) | Self::Machine(problem) => problem,
        }
    }

    /// What is wrong, taken out.
    #[must_use]
    pub fn into_problem(self) -> Problem {
        match self {
            Self::Input(problem) | Self::Machine(problem) => *problem,
        }
    }

    /// As the reason why a processor that needs the file cannot be built.
    pub(crate) fn into_build_error(self) -> dsp::BuildError {
        let problem = self.into_problem();
        dsp::BuildError { message: problem.message, remedy: problem.remedy }
    }
}
