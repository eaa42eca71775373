//! Facts to verdicts to files: what comes in, what is printed, what is found, what is left in writing.

pub mod advise;
pub mod again;
pub mod album;
pub mod codes;
mod ending;
pub mod fair;
pub mod files;
pub mod findings;
mod finish;
pub mod gate;
pub mod handover;
pub mod history;
pub mod intake;
mod labels;
pub mod load;
pub mod names;
mod parallel;
pub mod part;
mod parts;
mod print;
mod recall;
pub mod record;
pub mod report;
pub mod returns;
mod revision;
mod solve;
mod spool;
pub mod starts;
pub mod survey;
mod watch;

pub use load::{Loaded, folder_of, load, plan, revisions_of};
pub use print::{Order, Printed, Stopped, print};
pub use revision::{Revision, machine as disk_fault};
pub use spool::media_fault;
