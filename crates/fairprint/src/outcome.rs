//! How a command ended.

use std::process::ExitCode;

use engine::Fault;

/// The end of a command; each has its exit code.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// Done.
    Done,
    /// Done, but a check failed.
    CheckFailed,
    /// The input or the call is wrong.
    Input,
    /// The machine failed: disk, memory.
    Machine,
}

impl Outcome {
    /// The exit code that scripts rely on.
    pub fn exit_code(self) -> ExitCode {
        ExitCode::from(match self {
            Self::Done => 0,
            Self::CheckFailed => 1,
            Self::Input => 2,
            Self::Machine => 3,
        })
    }

    /// Whose fault a fault is.
    pub fn of(fault: &Fault) -> Self {
        match fault {
            Fault::Input(_) => Self::Input,
            Fault::Machine(_) => Self::Machine,
        }
    }
}
